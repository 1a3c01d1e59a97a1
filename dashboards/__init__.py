"""Plotly figures and offline HTML pages made from a scan's results; knows nothing of files or detection."""
