"""Historian exports: from any table of readings to one series a tag.

The way of a file: `sources` finds it and says what it is; a *table* (text, workbook, Parquet, data base)
hands it on as batches of cells; `sheet` looks at the first and last rows; a *layout* (long, wide, ...)
makes a plan of streams; `execute` runs the plan over the batches; `gather` keeps the readings by tag.
"""
