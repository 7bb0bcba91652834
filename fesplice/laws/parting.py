"""How the nodes of a cracked element part: the jump of the crack through it, seen from its points. Machine code.

A crack that opens by w along n and runs through an element moves some of its nodes, the far side, away from the
others. With g the sum of the gradients of their shape functions the strain of that jump is sym(w x g): along n by
w n.g, and a shear along the crack wherever n and g differ, which they do in a crack that climbs the grid by steps.
With principal axes it reads as compression along the crack, and a crack inclined to the grid locks; the law
gives it no stress (:func:`fesplice.laws.cracking.respond`). Here the way of parting is read from the strains: of
all ways (two pairs of sides and four corners of a quadrilateral, three corners of a triangle) the one whose jump leaves
the least of the strains of the points unexplained. It is read from accepted states only, so that it never
changes within an increment.

The kinematics are those of embedded discontinuities (Simo, Oliver & Armero, Comput. Mech. 12 (1993) 277-296;
Jirasek, CMAME 188 (2000) 307-330, both from memory), without a jump of its own: the opening stays the smeared strain.
"""

from __future__ import annotations

import numpy as np

from fesplice.compiled import compiled

#: Openings over G_F/f_t from which an element may part, and up to which it may change the way, and the share of the
#: squares of the strains that a way may leave. Judgement, of a trial on a beam notched beside midspan: 0.4 to 1, 1 to 4
#: and 0.1 to 0.3 give its energy within 4 %; at 0.3 and below, where cracks are not yet sure of their direction, some
#: settings found no equilibrium.
BEGINS, KEPT, LEFT = 0.6, 2.0, 0.1


@compiled
def _gradient(grad, way, q):
    """Gradient [1/mm] of the far side's shape functions at point ``q`` (-1: centre) for ``way``, by number from 0."""
    if grad.shape[0] == 3:
        return grad[way, 0], grad[way, 1]
    xs, ys = (-1.0, 1.0, 1.0, -1.0), (-1.0, -1.0, 1.0, 1.0)
    ax, ay, bx, by = 0.0, 0.0, 0.0, 0.0
    for i in range(4):
        ax += xs[i] * grad[i, 0]
        ay += xs[i] * grad[i, 1]
        bx += ys[i] * grad[i, 0]
        by += ys[i] * grad[i, 1]
    if way == 0:
        return 0.5 * ax, 0.5 * ay
    if way == 1:
        return 0.5 * bx, 0.5 * by
    i = way - 2
    xi, eta = (0.0, 0.0) if q < 0 else (xs[q] / np.sqrt(3.0), ys[q] / np.sqrt(3.0))
    p, r = 0.25 * xs[i] * (1.0 + ys[i] * eta), 0.25 * ys[i] * (1.0 + xs[i] * xi)
    return p * ax + r * bx, p * ay + r * by


@compiled
def _jump(strain, grad, way):
    """Jump (x, y) [mm] of ``way`` by least squares over the points; squares of the strains it leaves, and of all."""
    m11, m12, m22, r1, r2, total = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for q in range(strain.shape[0]):
        gx, gy = _gradient(grad, way, q)
        # sym(a x g) = (ax gx, ay gy, ax gy + ay gx); a half of the square of gamma counts
        m11 += gx * gx + 0.5 * gy * gy
        m22 += gy * gy + 0.5 * gx * gx
        m12 += 0.5 * gx * gy
        r1 += gx * strain[q, 0] + 0.5 * gy * strain[q, 2]
        r2 += gy * strain[q, 1] + 0.5 * gx * strain[q, 2]
        total += strain[q, 0] ** 2 + strain[q, 1] ** 2 + 0.5 * strain[q, 2] ** 2
    det = m11 * m22 - m12 * m12
    ax, ay = (r1 * m22 - r2 * m12) / det, (r2 * m11 - r1 * m12) / det
    return ax, ay, max(total - ax * r1 - ay * r2, 0.0), total


@compiled
def choose(strain, grad, opening, unit, old, new):
    """The way of parting of every element into ``new`` (n_e, n_q, 1): 0 none yet, else its number from 1.

    ``strain`` (n_e, n_q, 3), ``grad`` (n_e, n_k, 2) at the centre, ``opening`` (n_e, n_q) widest so far [mm],
    ``unit`` = G_F/f_t [mm]. ``old`` (n_e, n_q, 1) stays where the crack is narrower than ``BEGINS`` or has parted the
    element and is wider than ``KEPT``, and where every way leaves more than the share ``LEFT``.
    """
    for e in range(strain.shape[0]):
        widest, was, points = 0.0, old[e, 0, 0], strain.shape[1]
        for q in range(points):
            widest = max(widest, opening[e, q])
        way = was
        if widest >= BEGINS * unit and not (was > 0.0 and widest > KEPT * unit):
            least = 1e300
            for k in range(6 if grad.shape[1] == 4 else 3):
                ax, ay, left, total = _jump(strain[e], grad[e], k)
                gx, gy = _gradient(grad[e], k, -1)
                # a crack opens more than it slides
                opens = ax * gx + ay * gy > 0.3 * np.sqrt((ax * ax + ay * ay) * (gx * gx + gy * gy))
                # a hair's breadth better does not count: mirrored or turned, the same way comes first
                if opens and left < least - 1e-9 * total and left <= LEFT * total:
                    least, way = left, k + 1.0
        for q in range(points):
            new[e, q, 0] = way


@compiled
def gradients(way, grad, out):
    """g (n_e, n_q, 2) [1/mm] of the ways (n_e, n_q, 1) into ``out``; zeros where an element does not part."""
    for e in range(out.shape[0]):
        for q in range(out.shape[1]):
            out[e, q, 0], out[e, q, 1] = 0.0, 0.0
            if way[e, q, 0] > 0.0:
                out[e, q, 0], out[e, q, 1] = _gradient(grad[e], int(way[e, q, 0]) - 1, q)
