"""Sphinx settings; the command reference is written from the commands themselves."""

project = "Quirewell"
author = "the quirewell developers"
extensions = ["myst_parser"]
myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3
exclude_patterns = ["_build", "pictures/README.md"]
html_theme = "alabaster"
html_theme_options = {"font_family": "serif", "show_powered_by": False}
html_title = "Quirewell"
