"""Fields of steps come back to half a quantum, from any step on, and the same fields give the same bytes.

Rounding to whole multiples errs by half of one at most (arithmetic). The strain of a square under given displacements
is compared with the closed form of the bilinear quadrilateral: a linear field has a constant strain (patch test).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fesplice.contracts import FolderFault
from fesplice.mesh import Group, Mesh
from fesplice.store.arrays import Packed, pack_small
from fesplice.store.folder import STEPS, step_path
from fesplice.store.steps import CRACK, EVERY, QUANTA, StepCoder, StepReader


def mesh() -> Mesh:
    points = np.array([[0, 0], [10, 0], [20, 0], [0, 10], [10, 10], [20, 10]], float)
    cells = np.array([[0, 1, 4, 3], [1, 2, 5, 4]], np.int32)
    return Mesh(points, {"slab": Group("quad4", "precast", cells, {"thickness": np.full(2, 100.0)})}, {}, {}, ())


def fields(rng: np.random.Generator, k: int) -> dict[str, np.ndarray]:
    """What a step might hold: growing displacements, stresses with jumps, cracks that come, flags."""
    u = 0.01 * k * np.linspace(-1.0, 1.0, 12) + 1e-3 * rng.standard_normal(12)
    crack = np.zeros((2, 4, 3))
    crack[..., 0] = np.where(rng.random((2, 4)) < 0.3, 1e-3 * k, 0.0)
    crack[..., 1:] = rng.random((2, 4, 2))
    return {
        "u": u, "reactions": 1e3 * rng.standard_normal(12), "slab/stress": 10.0 * rng.standard_normal((2, 4, 3)),
        "slab/crack": crack, "slab/strain": rng.random((2, 4, 3)), "slab/flag": np.array([True, False]),
        "slab/odd": rng.random(3), "slab/none": np.zeros((0, 4)),
    }  # fmt: skip


def write(folder: Path, count: int, *, stop: int = -1) -> list[dict[str, np.ndarray]]:
    """``count`` steps; at ``stop`` the writer is made anew from what is on disk."""
    (folder / STEPS).mkdir(parents=True)
    rng, coder, given = np.random.default_rng(7), StepCoder(mesh()), []
    for k in range(count):
        if k == stop:
            coder = StepCoder(mesh())
            coder.taken = StepReader(folder, mesh()).taken(k - 1)
        given.append(fields(rng, k))
        image, coder.taken = coder.image(k, given[-1])
        step_path(folder, k).write_bytes(image)
    return given


def test_every_step_comes_back_to_half_a_quantum_in_any_order(tmp_path: Path) -> None:
    given = write(tmp_path, EVERY + 9)
    reader = StepReader(tmp_path, mesh())
    for k in (EVERY + 8, 3, EVERY - 1, EVERY, 0, *range(EVERY + 9)):
        read = reader.fields(k)
        assert set(read) == set(given[k])
        for name, key in (("u", "u"), ("reactions", "reactions"), ("slab/stress", "stress")):
            np.testing.assert_allclose(read[name], given[k][name], rtol=1e-6, atol=0.5 * QUANTA[key])
        crack, true = read["slab/crack"], given[k]["slab/crack"]
        np.testing.assert_allclose(crack[..., 0], true[..., 0], rtol=0.0, atol=0.5 * CRACK[0])
        on = true[..., 0] > CRACK[0]
        for j in (1, 2):
            np.testing.assert_allclose(crack[on, j], true[on, j], rtol=0.0, atol=0.5 * CRACK[j])
        np.testing.assert_array_equal(read["slab/odd"], given[k]["slab/odd"].astype(np.float32))
        assert read["slab/flag"].tolist() == [True, False] and read["slab/none"].shape == (0, 4)
        assert not read["u"].flags.writeable


def test_a_writer_that_was_stopped_anywhere_writes_the_same_bytes(tmp_path: Path) -> None:
    write(tmp_path / "whole", EVERY + 4)
    for stop in (1, 2, EVERY, EVERY + 1, EVERY + 3):
        write(tmp_path / str(stop), EVERY + 4, stop=stop)
        for k in range(EVERY + 4):
            assert step_path(tmp_path / str(stop), k).read_bytes() == step_path(tmp_path / "whole", k).read_bytes()


def test_strain_of_a_membrane_follows_from_the_displacements_or_is_kept(tmp_path: Path) -> None:
    (tmp_path / STEPS).mkdir()
    x, y = mesh().points.T
    u = np.stack([1e-3 * x + 2e-4 * y, -5e-4 * x + 3e-3 * y], axis=1).ravel()
    true = np.broadcast_to([1e-3, 3e-3, -3e-4], (2, 4, 3))
    sizes = {}
    others = true + np.linspace(0.0, 1e-5, 3), np.ones((5, 2)), np.full((2, 4, 3), np.nan)
    for index, told in enumerate((true, *others)):
        image, _ = StepCoder(mesh()).image(index, {"u": u, "slab/strain": told})
        step_path(tmp_path, index).write_bytes(image)
        sizes[index] = len(image)
        strain = StepReader(tmp_path, mesh()).fields(index)["slab/strain"]
        # two nodes 10 mm apart, each off by half a quantum; one that is kept by half of its own
        off = QUANTA["u"] / 5.0 if index == 0 else 0.5 * QUANTA["strain"]
        np.testing.assert_allclose(strain, told, rtol=1e-6, atol=off)
    assert sizes[0] < min(sizes[k] for k in (1, 2, 3))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-1e30, 1e30, allow_nan=False), min_size=1, max_size=6), st.integers(0, 3))
def test_numbers_out_of_range_are_kept_all_the_same(tmp_path_factory: pytest.TempPathFactory, values, k) -> None:
    """Displacements keep every bit then, everything else single precision."""
    folder = tmp_path_factory.mktemp("steps")
    (folder / STEPS).mkdir()
    array = np.array([*values, np.inf, np.nan])[: len(values) + (2 if k else 0)]
    image, _ = StepCoder(mesh()).image(0, {"u": array, "slab/tau": array})
    step_path(folder, 0).write_bytes(image)
    read = StepReader(folder, mesh()).fields(0)
    np.testing.assert_allclose(read["u"], array, rtol=0.0, atol=0.5 * QUANTA["u"])
    with np.errstate(over="ignore"):
        np.testing.assert_allclose(read["slab/tau"], array.astype(np.float32), rtol=1e-6, atol=0.5 * QUANTA["tau"])


def test_a_step_of_another_number_or_a_cut_one_is_a_fault(tmp_path: Path) -> None:
    write(tmp_path, 3)
    step_path(tmp_path, 2).write_bytes(step_path(tmp_path, 1).read_bytes())
    with pytest.raises(FolderFault, match="is not step 2: exchanged"):
        StepReader(tmp_path, mesh()).fields(2)
    step_path(tmp_path, 1).write_bytes(step_path(tmp_path, 1).read_bytes()[:-40])
    with pytest.raises(FolderFault, match="is damaged"):
        StepReader(tmp_path, mesh()).fields(1)


def test_any_step_is_found_by_reading_a_few_files_and_in_order_by_one_each(tmp_path: Path) -> None:
    write(tmp_path, 3 * EVERY)
    seen: list[Path] = []
    for k in range(3 * EVERY):
        seen.clear()
        StepReader(tmp_path, mesh(), seen.append).fields(k)
        assert len(seen) == k % EVERY + 1
    reader = StepReader(tmp_path, mesh(), seen.append)
    for k in range(3 * EVERY):
        seen.clear()
        reader.fields(k)
        assert seen == [step_path(tmp_path, k)]


def test_a_step_before_that_is_not_believed_spoils_those_that_need_it(tmp_path: Path) -> None:
    write(tmp_path, EVERY + 2)

    def believe(path: Path) -> None:
        if path == step_path(tmp_path, 3):
            raise FolderFault(str(path), "is not believed")

    assert StepReader(tmp_path, mesh(), believe).fields(2)["u"].shape == (12,)
    assert StepReader(tmp_path, mesh(), believe).fields(EVERY + 1)["u"].shape == (12,)
    with pytest.raises(FolderFault, match=r"000003\.h5.*not believed"):
        StepReader(tmp_path, mesh(), believe).fields(4)


def test_smooth_growth_costs_little(tmp_path: Path) -> None:
    """Against single precision as it is: a straight line is expected exactly, so that next to nothing is left."""
    rng = np.random.default_rng(3)
    stress, coder, sizes = rng.standard_normal((500, 4, 3)), StepCoder(mesh()), []
    for k in range(EVERY):
        image, coder.taken = coder.image(k, {"slab/stress": stress * k})
        sizes.append(len(image))
    assert max(sizes[3:]) < 0.2 * stress.astype(np.float32).nbytes


@pytest.mark.parametrize(
    ("part", "change"),
    [
        ("layout", {"reactions": [["reactions", []]]}), ("layout", {"reactions": [["reactions", [7]]]}), ("layout", []),
        ("derived", ["x"]), ("lanes", [["u", 10**9, 0.0]]), ("lanes", [["u", 3, None]]), ("lanes", None),
        ("alone", "x"), ("step", None),
    ],
)  # fmt: skip
def test_an_index_that_makes_no_sense_is_a_fault(tmp_path: Path, part: str, change: object) -> None:
    """What bytes can be read and do not fit together: the fault names the file, whatever was asked for."""
    write(tmp_path, 3)
    path = step_path(tmp_path, 2)
    kept = Packed(path)
    arrays = {name: kept[name].copy() for name in kept}
    path.write_bytes(pack_small(arrays, {**kept.about, part: change}))
    with pytest.raises(FolderFault, match=r"000002\.h5"):
        dict(StepReader(tmp_path, mesh()).fields(2))


@pytest.mark.parametrize("share", [-1.0, 1e12, float("nan")])
def test_a_share_out_of_range_is_a_fault(tmp_path: Path, share: float) -> None:
    write(tmp_path, 3)
    kept = Packed(step_path(tmp_path, 2))
    lanes = [[part, size, share] for part, size, _ in kept.about["lanes"]]
    arrays = {name: kept[name].copy() for name in kept}
    step_path(tmp_path, 2).write_bytes(pack_small(arrays, {**kept.about, "lanes": lanes}))
    with pytest.raises(FolderFault, match="a share of"):
        StepReader(tmp_path, mesh()).fields(2)
