"""An authority of this test's own, and what it vouches for: made by openssl."""

from __future__ import annotations

import subprocess
from pathlib import Path

KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")


def make_authority(folder: Path) -> None:
    """Make `ca.pem`, `broker.pem` (for 127.0.0.1), `board.pem`, `other-ca.pem`, and their keys."""
    for name in ("ca", "other-ca"):
        _openssl(
            folder, "req", "-x509", *KEY, "-keyout", f"{name}-key.pem",
            "-out", f"{name}.pem", "-days", "2", "-subj", f"/CN=cellar {name}",
            "-addext", "basicConstraints=critical,CA:TRUE",
            "-addext", "keyUsage=critical,keyCertSign,cRLSign",
        )  # fmt: skip
    make_certificate(folder, "broker", "IP:127.0.0.1")
    make_certificate(folder, "elsewhere", "DNS:elsewhere.example")
    make_certificate(folder, "board", "DNS:cellar")


def make_certificate(folder: Path, name: str, subject: str) -> None:
    _openssl(
        folder, "req", *KEY, "-keyout", f"{name}-key.pem",
        "-out", f"{name}.csr", "-subj", f"/CN={name}",
    )  # fmt: skip
    (folder / "extensions").write_text(f"subjectAltName={subject}\n")
    _openssl(
        folder, "x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca-key.pem",
        "-CAcreateserial", "-days", "2", "-extfile", "extensions", "-out", f"{name}.pem",
    )  # fmt: skip
    for key in folder.glob("*-key.pem"):
        key.chmod(0o644)  # mosquitto may run as a user of its own


def _openssl(folder: Path, *arguments: str) -> None:
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)
