"""Opens files of every kind as tables of cells."""
