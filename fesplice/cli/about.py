"""Verbs for beginners: examples to copy, the table of keys, the manual; and what ``--version`` says."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import out
from fesplice.contracts import InputFault

#: Libraries on which numbers hang, in the order in which ``--version`` tells them; then those of extras.
NUMBERS = ("numpy", "scipy", "numba", "gmsh", "h5py", "meshio", "pyvista", "matplotlib", "pyarrow", "pydantic", "pint")
EXTRAS = {"dask": "study", "distributed": "study"}


def example(
    folder: Annotated[Path, typer.Argument(help="new or empty folder", show_default=False)],
) -> None:
    """Write commented specimens, two studies and the logs of one test, all invented, into a new folder, to copy."""
    from fesplice.specimen.examples import write_examples

    for path in write_examples(folder):
        out.print(str(path))
    out.print(f"next: fesplice check {folder / 'as29-100-u.toml'}")


def keys(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="only keys with all these words, e.g. bars.left or cover", show_default=False),
    ] = None,
) -> None:
    """Print the keys of a specimen file: what each may be, what stands when it is left out, what it means."""
    from fesplice.specimen.keys import matching

    found = matching(words or [])
    if not found:
        raise InputFault("keys", f"no key with {' and '.join(words or [])}; without a word all keys are printed")
    for table in found:
        out.print(f"{table.title}: {table.meaning}")
        for key in table.keys:
            usual = f"; usually {key.usual}" if key.usual else ""
            out.print(f"  {key.name:18s} {key.allowed.replace('`', '')}{usual}; left out: {key.left_out}")
            if key.meaning:
                out.print(f"  {'':18s} {key.meaning}")
        out.print("")


def manual(
    path: Annotated[bool, typer.Option("--path", help="only print where the pages lie")] = False,
) -> None:
    """Open the manual in the browser; nothing is fetched from elsewhere."""
    page = Path(__file__).resolve().parents[1] / "manual" / "html" / "index.html"
    if not page.is_file():
        raise InputFault("manual", f"{page} is not there: in a checkout `bash scripts/manual` builds it")
    out.print(str(page))
    if not path:
        import webbrowser

        webbrowser.open(page.as_uri())


def version_lines() -> list[str]:
    """Versions of the program, of Python and of the libraries on which numbers hang; digest of what computes."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    from fesplice import __version__
    from fesplice.pipeline.manifest import program

    lines = [f"fesplice {__version__} (program {program()})", f"python {platform.python_version()}"]
    lines += [f"{name} {version(name)}" for name in NUMBERS]
    for name, extra in EXTRAS.items():
        try:
            lines.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            lines.append(f"{name} not installed (extra fesplice[{extra}])")
    return lines
