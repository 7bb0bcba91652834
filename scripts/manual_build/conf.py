"""How the manual is built: strictly, offline, formulas as MathML, names of the code checked."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(HERE))

from fesplice import __version__  # noqa: E402
from fesplice.pipeline.manifest import program  # noqa: E402

project = "fesplice"
author = "fesplice developers"
copyright = "fesplice developers, GPL-3.0-or-later"
version = release = __version__
extensions = ["myst_nb", "sphinx.ext.autodoc", "roles"]
exclude_patterns = ["html", "jupyter_execute"]
myst_enable_extensions = ["dollarmath", "amsmath", "colon_fence", "deflist", "fieldlist"]
myst_heading_anchors = 3
# notebooks run while the pages are built, each in a folder of its own; what they gave is kept as long as the program,
# and not their cells alone, is the same
nb_execution_mode = "cache"
nb_execution_cache_path = str(ROOT / "build" / "notebooks" / program())
nb_execution_in_temp = True
nb_execution_timeout = 900
nb_execution_raise_on_error = True
nb_execution_show_tb = True
nb_merge_streams = True
root_doc = "index"
language = "en"

# every name that the text gives must exist; classes in signatures alone may be foreign
nitpicky = True
nitpick_ignore_regex = [(r"py:class", r".*"), (r"py:exc", r".*"), (r"py:data", r".*"), (r"py:obj", r"typing\..*")]
add_module_names = False
toc_object_entries = False
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_preserve_defaults = True
autodoc_type_aliases = {name: name for name in ("Floats", "Ints", "History", "Known", "Fields")}
python_maximum_signature_line_length = 100
# short names in signatures may stand for several classes; the links of the text give the whole path
suppress_warnings = ["ref.python"]

html_theme = "furo"
html_title = f"fesplice {version}"
html_math_renderer = "mathml"
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_static_path = [str(HERE / "static")]
html_css_files = ["manual.css"]
html_theme_options = {"footer_icons": [], "top_of_page_buttons": []}
pygments_style = "friendly"
