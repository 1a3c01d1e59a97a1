"""One function a figure: findings in, a plotly figure or a small drawing out; no files, no globals.

Figures are described as plain dicts whose colours are ink names (``@reading``); the public functions paint
them for a notebook, the pages hand them to their script, which paints them light or dark.
"""
