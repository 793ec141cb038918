"""What every answer tells a browser: code and styles from this site alone, no frame around it, nothing kept."""

from __future__ import annotations

import re
from urllib.parse import quote

# Each kind is named, so that a kind nobody thought of is refused.
ALLOWED = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",  # pictures chosen for a report are shown before they are sent
    "font-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}
POLICY = "; ".join(f"{kind} {sources}" for kind, sources in ALLOWED.items())
# What no page asks of a browser; passkeys are asked by this site alone.
UNUSED = (
    "accelerometer", "autoplay", "camera", "display-capture", "geolocation",
    "gyroscope", "hid", "magnetometer", "microphone", "midi", "payment", "serial", "usb",
    "xr-spatial-tracking",
)  # fmt: skip
PERMISSIONS = ", ".join(
    [f"{feature}=()" for feature in UNUSED]
    + ["publickey-credentials-create=(self)", "publickey-credentials-get=(self)"]
)
# Where code labels are read and photographs are taken.
FIELD = "/field"
PERMISSIONS_IN_THE_FIELD = PERMISSIONS.replace("camera=()", "camera=(self)")
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": PERMISSIONS,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",  # for browsers that know no frame-ancestors
    # Come back to, a page would show what no longer stands, or what the next person may not see.
    "Cache-Control": "no-store",
}
# A year; told only where the register is reached by HTTPS, or this machine's name would be held to it.
HTTPS_ONLY = {"Strict-Transport-Security": "max-age=31536000; includeSubDomains"}
LONGEST_NAME = 120


def headers_for(https: bool, path: str = "/") -> dict[str, str]:
    """The headers of an answer at `path` that does not say otherwise."""
    told = HEADERS | HTTPS_ONLY if https else HEADERS
    if path == FIELD or path.startswith(f"{FIELD}/"):
        return told | {"Permissions-Policy": PERMISSIONS_IN_THE_FIELD}
    return told


def as_file(name: str) -> dict[str, str]:
    """Have the browser save the answer under `name`, whatever that holds (RFC 6266)."""
    kept = re.sub(r"[\x00-\x1f\x7f\\/:*?\"<>|;%]+", "-", name).strip(" .-")[-LONGEST_NAME:]
    kept = kept.strip(" .-") or "file"
    plain = kept.encode("ascii", "ignore").decode().strip(" .-")
    shown = (
        plain if plain and plain == kept else re.sub(r"[^A-Za-z0-9._-]+", "-", plain).strip("-.")
    )
    value = f'attachment; filename="{shown or "file"}"'
    if shown != kept:
        value += f"; filename*=UTF-8''{quote(kept, safe='')}"
    return {"Content-Disposition": value}
