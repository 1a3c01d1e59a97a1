"""What columns, headers and cells of a table say."""
