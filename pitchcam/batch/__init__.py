"""Many photos: measured over all cores or on a cluster, stopped and resumed at will.

Its names stand in its modules alone: a worker needs neither the record nor the answer.
"""
