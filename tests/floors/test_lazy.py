"""``import fesplice`` is light, and each public name comes from where it says.

Source: PEP 562 (module ``__getattr__``) for the mechanism; the list of libraries is a
house rule with no source outside.
"""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.metadata import version

import pytest

import fesplice

HEAVY = (
    "gmsh", "pyvista", "vtkmodules", "matplotlib", "dask", "h5py", "meshio", "pint", "pydantic", "scipy", "numba",
    "pyarrow",
)  # fmt: skip


def modules_after(statement: str) -> set[str]:
    """Top-level modules loaded in a fresh interpreter once ``statement`` has run."""
    tell = "sys.stdout.write(json.dumps([name.split('.')[0] for name in sys.modules]))"
    code = f"import json, sys\n{statement}\n{tell}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


def test_import_loads_nothing_heavy() -> None:
    loaded = modules_after("import fesplice")
    assert "fesplice" in loaded
    assert not loaded & set(HEAVY)


def test_the_instrument_sees_a_heavy_import() -> None:
    assert "h5py" in modules_after("import h5py")


@pytest.mark.parametrize("name", sorted(fesplice.__all__))
def test_every_public_name_exists(name: str) -> None:
    assert name in dir(fesplice)
    assert getattr(fesplice, name) is not None


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = fesplice.nonsense


def test_one_version() -> None:
    """The installed metadata and the package say the same."""
    assert version("fesplice") == fesplice.__version__


def test_an_interrupt_while_the_verbs_still_load_is_an_end_and_no_fault() -> None:
    code = """if True:
        import sys
        class Stop:
            def find_spec(self, name, path=None, target=None):
                if name == "fesplice.cli":
                    raise KeyboardInterrupt
        sys.meta_path.insert(0, Stop())
        from fesplice.__main__ import main
        main()
    """
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 130 and "Traceback" not in done.stderr
