"""How the docs are built: ``python -m sphinx -W -b html docs build/docs``; nothing is fetched."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent / "_ext"), str(Path(__file__).parents[1])]

from pitchcam import __version__  # noqa: E402

project = "pitchcam"
version = release = __version__
copyright = ""
html_show_copyright = False
language = "en"

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "from_code", "mathml"]
myst_enable_extensions = ["dollarmath", "deflist", "colon_fence"]
myst_heading_anchors = 3
exclude_patterns = ["screens", "build", "_ext"]
# README and DEVELOPERS link into each other by file; from the docs such links lead to the file.
nitpicky = False
toc_object_entries = False

autodoc_member_order = "bysource"
autodoc_typehints = "description"
autodoc_typehints_description_target = "documented_params"
autodoc_class_signature = "separated"
autodoc_default_options = {"members": True, "undoc-members": False, "exclude-members": "__init__"}
napoleon_google_docstring = False
napoleon_use_rtype = False

html_theme = "alabaster"
html_title = f"pitchcam {version}"
html_static_path = ["_static"]
html_css_files = ["docs.css"]
templates_path = ["_templates"]
html_math_renderer = "mathml"
html_show_sourcelink = False
html_copy_source = False
html_sidebars = {"**": ["searchbox.html", "navigation.html"]}
html_theme_options = {
    "fixed_sidebar": False,
    "page_width": "1160px",
    "sidebar_width": "230px",
    "show_powered_by": False,
    "body_max_width": "820px",
}
pygments_style = "friendly"
