"""The record: photos, measurements, verdicts and hand-made corrections in one SQLite file.

Its names stand in its modules alone: what a worker hands back needs no database.
"""
