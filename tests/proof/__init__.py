"""The accuracy page: any folder of photos with truth, as a page to read and figures to compare.

``python -m tests.proof DIR... -o page/`` writes ``page/index.html`` and ``page/proof.json``;
``--against OLD.json`` says what became worse since. Rows come from ``tests.fresh.measure``, tables
from ``tests.fresh.table``, bands from ``tests.gate``.
"""
