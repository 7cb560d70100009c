"""What was measured last, for the start page."""

from __future__ import annotations

from typing import Any

from pitchcam.page import show
from pitchcam.page.setup import Setup
from pitchcam.store.store import Store

_SHOWN = 6


def recent_answers(setup: Setup) -> list[dict[str, Any]]:
    """Return id, name of the photo, status and headline of the newest answers on this page."""
    views = [v for v in setup.views.iterdir() if (v / "view.json").exists()]
    views.sort(key=lambda v: (v / "view.json").stat().st_mtime, reverse=True)
    if not views:
        return []
    out = []
    with Store(setup.record) as store:
        for view in views[:_SHOWN]:
            entry = store.entry(view.name)
            if entry is not None:
                status, line = show.headline(entry)
                out.append(
                    {
                        "id": entry.id,
                        "photo": entry.name,
                        "status": status,
                        "line": line,
                        "mark": show.MARKS[status],
                        "part": int(store.thumbnail(entry.id, 1) is not None),
                    }
                )
    return out
