"""Places for attachments of each kind: a folder, the library's memory, and an object store on the loopback address."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import ThreadingHTTPServer
from pathlib import Path
from uuid import uuid4

import pytest
from localbucket import S3Handler

from app.pictures import Attachments

BUCKET = "invented-bucket"
ENVIRONMENT = {
    "AWS_ACCESS_KEY_ID": "invented", "AWS_SECRET_ACCESS_KEY": "invented", "AWS_REGION": "nowhere-1",
    "AWS_ALLOW_HTTP": "true",
}  # fmt: skip


@contextmanager
def object_store(root: Path) -> Iterator[str]:
    """The endpoint of an object store whose one bucket lies in a folder."""
    (root / BUCKET).mkdir(parents=True)
    handler = type("Handler", (S3Handler,), {"data_root": root, "log_message": lambda *_: None})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@pytest.fixture(scope="session")
def endpoint(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with object_store(tmp_path_factory.mktemp("objects")) as address:
        yield address


@pytest.fixture
def bucket(endpoint: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of an empty place in an object store."""
    for name, value in (ENVIRONMENT | {"AWS_ENDPOINT": endpoint}).items():
        monkeypatch.setenv(name, value)
    return f"s3://{BUCKET}/{uuid4().hex}"


@pytest.fixture(params=["folder", "objects"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Attachments:
    """An empty place, of each kind that a register may have."""
    if request.param == "folder":
        return Attachments(tmp_path / "attached")
    return Attachments(request.getfixturevalue("bucket"))
