"""A small OpenID Connect provider on loopback, for tests only: it signs in whoever it was told to, without a password.

It does what OpenID Connect Core 1.0 asks of the code flow: discovery, keys, a code for one use bound to the client's
address, PKCE (RFC 7636, S256) and an ID token signed with RS256 that carries the nonce.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlparse

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT_ID, CLIENT_SECRET = "goodpull-test", "a secret between the two of them"


@dataclass
class Provider:
    """What the provider knows. email: whom it signs in next. asked: the paths it was asked for."""

    address: str
    email: str = ""
    asked: list[str] = field(default_factory=list)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "test", "use": "sig"}))

    @property
    def metadata_url(self) -> str:
        return f"{self.address}/.well-known/openid-configuration"

    def metadata(self) -> dict[str, Any]:
        return {
            "issuer": self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "jwks_uri": f"{self.address}/keys",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
            "token_endpoint_auth_methods_supported": ["client_secret_basic"],
        }

    def code_for(self, query: dict[str, str]) -> str:
        """Where the browser is sent back to with a code of one use."""
        assert query["client_id"] == CLIENT_ID and query["response_type"] == "code"
        code = secrets.token_urlsafe(16)
        self.codes[code] = query | {"email": self.email}
        return f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"

    def token_for(self, form: dict[str, str], authorization: str) -> dict[str, Any] | None:
        """The tokens for a code, or None where the code, the client or the proof is wrong."""
        asked = self.codes.pop(form.get("code", ""), None)
        basic = base64.b64encode(f"{CLIENT_ID}:{CLIENT_SECRET}".encode()).decode()
        if asked is None or asked["redirect_uri"] != form.get("redirect_uri") or authorization != f"Basic {basic}":
            return None
        digest = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        if base64.urlsafe_b64encode(digest).rstrip(b"=").decode() != asked.get("code_challenge"):
            return None
        now = int(time.time())
        claims = {
            "iss": self.address, "sub": asked["email"], "aud": CLIENT_ID, "iat": now, "exp": now + 300,
            "nonce": asked["nonce"], "email": asked["email"], "email_verified": True, "name": "Somebody",
        }  # fmt: skip
        signed = jwt.encode({"alg": "RS256", "kid": "test"}, claims, self.key)
        return {"access_token": secrets.token_urlsafe(8), "token_type": "Bearer", "expires_in": 300, "id_token": signed}


@contextmanager
def provider() -> Iterator[Provider]:
    """A provider at work until the block is left."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            place = urlparse(self.path)
            known.asked.append(place.path)
            query = {name: values[0] for name, values in parse_qs(place.query).items()}
            if place.path == "/authorize":
                self.send_response(302)
                self.send_header("Location", known.code_for(query))
                self.end_headers()
            elif place.path == "/keys":
                self._json({"keys": [known.key.as_dict(private=False)]})
            else:
                self._json(known.metadata())

        def do_POST(self) -> None:
            known.asked.append(self.path)
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {name: values[0] for name, values in parse_qs(body).items()}
            tokens = known.token_for(form, self.headers.get("Authorization", ""))
            self._json(tokens or {"error": "invalid_grant"}, 200 if tokens else 400)

        def _json(self, content: dict[str, Any], status: int = 200) -> None:
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.end_headers()
            self.wfile.write(json.dumps(content).encode())

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    known = Provider(f"http://127.0.0.1:{server.server_port}")
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield known
    finally:
        server.shutdown()
        server.server_close()
