"""Speaking to a running watch: a Unix socket of the user's own, one JSON object a line, one answer to each.

    {"verb": "ack", "id": 3}           {"ok": true, "text": "1 acknowledged", "status": null}
    {"verb": "status"}                 {"ok": true, "text": "…", "status": {…}}

The server's threads only read and write; a request is handed to the watch, whose own loop answers it. Everything is
bounded: connections, length of a line, time. The socket lies in the user's runtime directory, mode 0600, and only
processes of the same user are heard.
"""

import os
import socket
import stat
import struct
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from daemon.errors import CANNOT_OPEN, UserError
from daemon.words import clean

LONGEST_LINE = 65_536
MOST_DISCARDED = 16 * LONGEST_LINE
MOST_CLIENTS = 8
PATIENCE_S = 5.0
"""How long a client may be silent in the middle of a line, and the watch may take for an answer."""

LONGEST_NAME = 40
NOTE_LENGTH = 400
NULL = msgspec.Raw(b"null")
VERBS = ("ack", "silence", "note", "condition", "status", "situation")


class Request(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """`ack` (`id`: one alert; none: all), `silence`, `note` (`text`), `condition` (`text`: its name), `status`,
    `situation`."""

    verb: str
    id: int | None = None
    text: str | None = None


class Reply(Struct, frozen=True):
    """`status` holds what `status` asked for, as JSON: see daemon/status.py."""

    ok: bool
    text: str
    status: msgspec.Raw = NULL


class Pending:
    """A request on its way through the watch's loop. `answer` it once, from any thread."""

    def __init__(self, request: Request) -> None:
        self.verb = request.verb
        self.id = request.id
        self.text = request.text
        self._reply: Reply | None = None
        self._done = threading.Event()

    def answer(self, text: str, *, ok: bool = True, status: bytes = b"null") -> None:
        self._reply = Reply(ok, text, msgspec.Raw(status))
        self._done.set()

    def wait(self, timeout_s: float) -> Reply:
        if self._done.wait(timeout_s) and self._reply is not None:
            return self._reply
        return Reply(False, f"the watch has not answered within {timeout_s:g} s")


# ---------------------------------------------------------------------------------------------------- place


def runtime_folder() -> Path:
    """$XDG_RUNTIME_DIR/secondplot, else a folder of the user's own under the temporary one.

    Raises UserError where others can write in it: they could speak in the watch's name. That they can read it does no
    harm, since the socket itself is closed to them; where the archive lies in the same folder they commonly can.
    """
    base = os.environ.get("XDG_RUNTIME_DIR", "")
    folder = Path(base) / "secondplot" if base else Path(tempfile.gettempdir()) / f"secondplot-{os.getuid()}"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        status = folder.lstat()
    except OSError as error:
        raise UserError(f"{folder}: {error.strerror}; set XDG_RUNTIME_DIR", CANNOT_OPEN) from error
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != os.getuid():
        raise UserError(f"{folder} must be a folder of yours: move away what is there", CANNOT_OPEN)
    if status.st_mode & 0o022:
        raise UserError(f"others can write in {folder}, and so speak for the watch: chmod go-w {folder}", CANNOT_OPEN)
    return folder


def socket_path(name: str, folder: Path | None = None) -> Path:
    """Where the watch of this name listens. UserError for a name that is no plain word, or a path too long."""
    plain = name.replace("-", "").replace("_", "").replace(".", "")
    if not (plain.isascii() and plain.isalnum()) or name.startswith(".") or len(name) > LONGEST_NAME:
        raise UserError(f"a watch's name is letters, digits, '-', '_' and '.', at most {LONGEST_NAME}: not {name!r}")
    path = (folder or runtime_folder()) / f"{name}.sock"
    if len(os.fsencode(path)) > 107:  # unix(7): sun_path holds 108 bytes with its NUL
        raise UserError(f"{path}: too long for a socket; set XDG_RUNTIME_DIR to a shorter path", CANNOT_OPEN)
    return path


# --------------------------------------------------------------------------------------------------- server


class ControlServer:
    """Listens for one watch. `put` takes each request at once; it may come from any thread.

    Raises UserError where another watch of that name runs, or the socket cannot be made.
    """

    def __init__(self, name: str, put: Callable[[Pending], None], folder: Path | None = None) -> None:
        self.path = socket_path(name, folder)
        self._put = put
        self._clients = threading.BoundedSemaphore(MOST_CLIENTS)
        self._closing = False
        self._socket = self._listen(name)
        self._inode = self.path.stat().st_ino
        self._thread = threading.Thread(target=self._accept, name="control", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """No more requests; the socket is gone when this returns."""
        self._closing = True
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)  # wakes accept()
        self._socket.close()
        self._thread.join(1.0)
        with suppress(OSError):
            if self.path.stat().st_ino == self._inode:  # not that of a watch that came after us
                self.path.unlink()

    def _listen(self, name: str) -> socket.socket:
        if _is_alive(self.path):
            raise UserError(f"a watch named {name!r} is running already; give this one another --name")
        with suppress(FileNotFoundError):
            self.path.unlink()  # left behind by one that was killed
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listening.bind(str(self.path))
            self.path.chmod(0o600)
            listening.listen(MOST_CLIENTS)
        except OSError as error:
            listening.close()
            raise UserError(f"{self.path}: {error.strerror}", CANNOT_OPEN) from error
        return listening

    def _accept(self) -> None:
        while not self._closing:
            try:
                client, _ = self._socket.accept()
            except OSError:
                if self._closing:
                    return
                continue
            if not self._clients.acquire(blocking=False):
                _send(client, Reply(False, "too many are speaking to this watch at once"))
                client.close()
                continue
            threading.Thread(target=self._serve, args=(client,), name="control client", daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        try:
            with client:
                client.settimeout(PATIENCE_S)
                if _peer_uid(client) not in (None, os.getuid()):
                    _send(client, Reply(False, "this watch belongs to another user"))
                    return
                with client.makefile("rb") as lines:
                    while not self._closing and self._one(client, lines.readline(LONGEST_LINE)):
                        pass
        except OSError:
            pass  # the client went away, or was silent for too long
        finally:
            self._clients.release()

    def _one(self, client: socket.socket, line: bytes) -> bool:
        """One line and its answer; False at the end, or where the rest of the stream cannot be trusted."""
        if not line:
            return False
        if not line.endswith(b"\n"):
            _send(client, Reply(False, f"a request is one line of at most {LONGEST_LINE} bytes"))
            _hear_out(client)
            return False
        request = read_request(line)
        if isinstance(request, Reply):
            _send(client, request)
            return True
        pending = Pending(request)
        self._put(pending)
        _send(client, pending.wait(PATIENCE_S))
        return True


def read_request(line: bytes) -> Request | Reply:
    """One request, checked and cleaned; or the answer to one that cannot be meant."""
    try:
        request = msgspec.json.decode(line, type=Request)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        return Reply(False, f"not a request: {clean(str(error), 200)}")
    if request.verb not in VERBS:
        return Reply(False, f"{clean(request.verb, 40)!r} is none of {', '.join(VERBS)}")
    text = None if request.text is None else clean(request.text, NOTE_LENGTH)
    if request.verb in ("note", "condition") and not text:
        return Reply(False, f"{request.verb} needs a text")
    return Request(request.verb, request.id, text)


def _send(client: socket.socket, reply: Reply) -> None:
    with suppress(OSError):
        client.sendall(msgspec.json.encode(reply) + b"\n")


def _hear_out(client: socket.socket) -> None:
    """Take a bounded rest of what is being sent: closing over unread bytes would take our answer back."""
    client.shutdown(socket.SHUT_WR)
    for _ in range(MOST_DISCARDED // LONGEST_LINE):
        if not client.recv(LONGEST_LINE):
            return


def _peer_uid(client: socket.socket) -> int | None:
    """Whose process is at the other end (unix(7), SO_PEERCRED); None where the system does not tell."""
    option = getattr(socket, "SO_PEERCRED", None)
    if option is None:
        return None
    _, uid, _ = struct.unpack("3i", client.getsockopt(socket.SOL_SOCKET, option, struct.calcsize("3i")))
    return int(uid)


def _is_alive(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as trying:
        trying.settimeout(1.0)
        try:
            trying.connect(str(path))
        except BlockingIOError:
            return True  # its queue of callers is full: it is busy, not dead
        except OSError:
            return False
    return True


def _connect(server: socket.socket, path: Path) -> None:
    """Connect, and where the watch's queue of callers is full wait for a place in it, at most PATIENCE_S.

    A socket with a timeout does not wait there (connect(2), EAGAIN), so the system's own limit is set first.
    """
    server.settimeout(None)
    server.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", int(PATIENCE_S), 0))
    try:
        server.connect(str(path))
    except BlockingIOError:
        raise OSError("too many are speaking to it at once") from None
    server.settimeout(2 * PATIENCE_S)


# --------------------------------------------------------------------------------------------------- client


def running(folder: Path | None = None) -> list[str]:
    """The names of the watches of this user that run now."""
    where = folder or runtime_folder()
    return sorted(path.stem for path in where.glob("*.sock") if _is_alive(path))


def ask(request: Request, watch: str | None = None, folder: Path | None = None) -> Reply:
    """Ask a running watch, the only one unless it is named.

    Raises UserError where none runs, several do and none is named, or it does not answer.
    """
    names = running(folder)
    if watch is not None and watch not in names:
        socket_path(watch, folder)  # says so where it is no name at all
        others = f"; running: {', '.join(names)}" if names else ""
        raise UserError(f"no watch named {watch!r} is running{others}", CANNOT_OPEN)
    if not names:
        raise UserError("no watch is running here; start one with `secondplot watch`", CANNOT_OPEN)
    if watch is None and len(names) > 1:
        raise UserError(f"several watches are running: choose one with --watch {{{','.join(names)}}}")
    path = socket_path(watch or names[0], folder)
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
            _connect(server, path)
            with suppress(BrokenPipeError):  # a watch that sends us away has said why before it hung up
                server.sendall(msgspec.json.encode(request) + b"\n")
            with server.makefile("rb") as lines:
                return msgspec.json.decode(lines.readline(), type=Reply)
    except (OSError, msgspec.MsgspecError) as error:
        raise UserError(f"the watch {watch or names[0]!r} does not answer: {error}", CANNOT_OPEN) from error


def say(reply: Reply, as_json: bool) -> int:
    """Print an answer; exit code 0, or 2 where the watch would not."""
    if not reply.ok:
        raise UserError(reply.text)
    if as_json:
        body: dict[str, Any] = {"ok": reply.ok, "text": reply.text}
        if reply.status != NULL:
            body["status"] = msgspec.json.decode(reply.status)
        print(msgspec.json.encode(body).decode())
    else:
        print(reply.text)
    return 0
