"""One adjustment of what several photos of one part measured: one answer, with one budget.

Each photo is measured by itself first. Its results are the observations here, its budget says which
of its errors come again in the next photo, and generalised least squares puts them together.
"""
