"""Who may ask: pairing tokens that are spent once, sessions, and the token of each change.

Secrets are kept as their SHA-256 only, so that the file of paired browsers opens nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from pitchcam.files import write_whole
from pitchcam.records import json_text
from pitchcam.records.formats import document

#: The session's cookie; the prefix makes browsers refuse it from other hosts and without TLS.
COOKIE, SECURE_COOKIE = "pitchcam", "__Host-pitchcam"
#: Sessions of a loopback page that are remembered; the oldest are forgotten first.
_MOST = 200


def digest(secret: str) -> str:
    """Return what is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass
class Access:
    """Pairing tokens and paired browsers of one server.

    Parameters
    ----------
    file
        Where paired browsers are kept, or None to keep them in memory only.
    """

    file: Path | None = None
    _pairing: set[str] = field(default_factory=set)
    _sessions: dict[str, str] = field(default_factory=dict)
    _key: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def __post_init__(self) -> None:
        if self.file is not None:
            # A damaged list of browsers means that they pair again, not that nothing starts.
            with contextlib.suppress(OSError, ValueError, LookupError, TypeError, AttributeError):
                kept = json.loads(self.file.read_text(encoding="utf-8"))
                self._sessions = {str(k): str(v) for k, v in kept["browsers"].items()}

    def offer(self) -> str:
        """Return a new pairing token; it pairs one browser and then is spent."""
        token = secrets.token_urlsafe(24)
        self._pairing.add(digest(token))
        return token

    def offered(self, token: str) -> bool:
        """Say whether a pairing token is still unspent."""
        return digest(token) in self._pairing

    def pair(self, token: str, now: datetime) -> str | None:
        """Spend a pairing token; return the new browser's session, None if none was offered."""
        if not self.offered(token):
            return None
        self._pairing.discard(digest(token))
        return self.open(f"{now:%Y-%m-%d %H:%M}")

    def open(self, note: str) -> str:
        """Return the secret of a new session."""
        session = secrets.token_urlsafe(32)
        self._sessions[digest(session)] = note
        while len(self._sessions) > _MOST:
            del self._sessions[next(iter(self._sessions))]
        self._keep()
        return session

    def knows(self, session: str | None) -> bool:
        """Say whether a session was opened here."""
        return bool(session) and digest(session or "") in self._sessions

    def browsers(self) -> list[tuple[str, str]]:
        """Return (short mark, since when) of each paired browser."""
        return [(key[:8], since) for key, since in self._sessions.items()]

    def forget(self, mark: str) -> bool:
        """Forget the browser with this mark; say whether there was one."""
        found = [key for key in self._sessions if key[:8] == mark]
        for key in found:
            del self._sessions[key]
        self._keep()
        return bool(found)

    def change_token(self, session: str) -> str:
        """Return the token that every change asked by this session must carry."""
        return hmac.new(self._key, session.encode(), hashlib.sha256).hexdigest()

    def allows_change(self, session: str, token: str) -> bool:
        """Say whether a change carries its session's token."""
        return hmac.compare_digest(self.change_token(session).encode(), token.encode())

    def _keep(self) -> None:
        if self.file is not None:
            text = json_text(document("browsers", {"browsers": self._sessions}), indent=1)
            write_whole(self.file, text.encode())
            self.file.chmod(0o600)
