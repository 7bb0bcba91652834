"""Which bond law and which concrete law a model is made of: named in the specimen, or handed in.

A name stands in the registries of :mod:`fesplice.laws`, or is an entry point of an installed package in the groups
``fesplice.bond`` and ``fesplice.concrete``. A specimen file never names a module: a file that comes by mail must not
be able to run code that nobody installed. A law that is handed in is a class, or a frozen dataclass object whose
fields are its settings, so that all it hangs on can be written down with the run.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from difflib import get_close_matches
from functools import cache
from importlib.metadata import EntryPoint, entry_points, packages_distributions, version
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, TypeVar

import numpy as np

from fesplice.contracts import BondMaker, ConcreteMaker, Fault, InputFault
from fesplice.laws import BOND, CONCRETE
from fesplice.specimen.schema import Specimen

M = TypeVar("M", BondMaker, ConcreteMaker)

#: Where the name of each kind of law stands in a specimen file.
KEYS = {"bond": "bond.law", "concrete": "analysis.concrete_law"}


@dataclass(frozen=True)
class Chosen:
    """The laws of a model."""

    bond: BondMaker
    concrete: ConcreteMaker

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """Class, module, version and settings of each, for the manifest: runs by other laws are other runs."""
        return {"bond": described(self.bond, "bond"), "concrete": described(self.concrete, "concrete")}


def choose(specimen: Specimen, bond: BondMaker | None = None, concrete: ConcreteMaker | None = None) -> Chosen:
    """The laws handed in, and those that the specimen names in place of what is not.

    Raises :class:`InputFault` for a name that nobody knows (it tells the known ones), for an entry point that cannot
    be loaded, and for what is no maker of laws.
    """
    where = f"specimen {specimen.name}"
    if bond is None:
        bond = _named(BOND, "bond", specimen.bond.law, where)
    if concrete is None:
        concrete = _named(CONCRETE, "concrete", specimen.analysis.concrete_law, where)
    for kind, maker in (("bond", bond), ("concrete", concrete)):
        described(maker, kind)
    return Chosen(bond, concrete)


def _named(own: Mapping[str, M], kind: str, name: str, where: str) -> M:
    if name in own:
        return own[name]
    brought = {point.name: point for point in entry_points(group=f"fesplice.{kind}")}
    if name not in brought:
        known = [*own, *sorted(brought)]
        near = get_close_matches(name, known, n=1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise InputFault(where, [Fault(KEYS[kind], name, f"no such {kind} law; {hint}known: {', '.join(known)}")])
    return _loaded(brought[name], kind, where)


def _loaded(point: EntryPoint, kind: str, where: str) -> Any:
    try:
        return point.load()
    except Exception as error:  # whatever somebody else's module does while it is imported
        why = f"{point.value} of an installed package cannot be loaded: {type(error).__name__}: {error}"
        raise InputFault(where, [Fault(KEYS[kind], point.name, why)]) from error


# ------------------------------------------------------------------ what a run says of its laws
def described(maker: object, kind: str) -> dict[str, Any]:
    """Class, module, version and settings of a law's maker; for one from outside this package a digest of its code.

    The digest covers the file of its module, or where there is none (a notebook) the code and the plain attributes of
    the class and of the classes it is made from. What else it reads, such as a variable of a notebook, it does not
    cover. Raises :class:`InputFault` for what is no maker.
    """
    where = f"{kind} law"
    made = maker if isinstance(maker, type) else type(maker)
    if not callable(getattr(maker, "built", None)):
        raise InputFault(where, f"{maker!r} has no method built(numbers) that answers a law")
    if made is not maker and not is_dataclass(maker):
        need = "must be a dataclass, whose fields are its settings; or give a class"
        raise InputFault(where, f"an object of {made.__qualname__} {need}")
    home = made.__module__
    out: dict[str, Any] = {"class": made.__qualname__, "module": home, "version": _version(made)}
    if is_dataclass(maker) and not isinstance(maker, type):
        out["settings"] = {f.name: _plain(getattr(maker, f.name), f"{where}.{f.name}") for f in fields(maker)}
    if home.partition(".")[0] != "fesplice":
        out["code"] = _digest(made)
    return out


def _version(made: type) -> str:
    """Release of the package that holds the class; of a module that was not installed what it says itself, or ""."""
    return _release(made.__module__.partition(".")[0]) or str(getattr(_module(made), "__version__", ""))


@cache
def _release(top: str) -> str:
    """Release of the installed package with the module ``top``; "" where none is."""
    names = ["fesplice"] if top == "fesplice" else packages_distributions().get(top, [])
    return version(names[0]) if names else ""


def _module(made: type) -> object:
    return sys.modules.get(made.__module__)


def _plain(value: Any, where: str) -> Any:
    """A setting as JSON has it, so that it is the same when read back."""
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(one, where) for one in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(one, where) for key, one in value.items()}
    raise InputFault(where, f"{type(value).__name__} is no setting: numbers, texts, lists, tables of them")


def _digest(made: type) -> str:
    digest = hashlib.sha256()
    file = getattr(_module(made), "__file__", None)
    if file and Path(file).is_file():
        digest.update(Path(file).read_bytes())
    else:
        for part in _code(made):
            digest.update(part.encode())
    return digest.hexdigest()[:12]


def _code(made: type) -> Iterator[str]:
    """What the classes of a notebook consist of: names, code, plain attributes; no place in memory."""
    for one in made.__mro__[:-1]:
        yield one.__qualname__
        for name, value in sorted(vars(one).items()):
            function = value.__func__ if isinstance(value, classmethod | staticmethod) else value
            function = function.fget if isinstance(function, property) else function
            if isinstance(function, FunctionType):
                yield name
                yield from _bytes(function.__code__)
                yield repr(function.__defaults__)
            elif isinstance(value, bool | int | float | str | tuple) and name not in ("__module__", "__doc__"):
                yield f"{name}={value!r}"


def _bytes(code: CodeType) -> Iterator[str]:
    yield code.co_code.hex()
    yield repr(code.co_names)
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _bytes(constant)
        elif isinstance(constant, frozenset):
            # its order hangs on the seed of the process
            yield repr(sorted(map(repr, constant)))
        else:
            yield repr(constant)
