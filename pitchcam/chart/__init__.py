"""The workshop's tapping chart: rows, pages, print."""
