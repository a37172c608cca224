"""A certificate of this computer's own for the phone beside it: a root that is good for private addresses alone."""

from __future__ import annotations

import ipaddress
import os
import platform
import re
import socket
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, StoreError
from roomfield.extras import library

x509: Any = library("cryptography.x509", "phone")
hashes: Any = library("cryptography.hazmat.primitives.hashes", "phone")
serialization: Any = library("cryptography.hazmat.primitives.serialization", "phone")
exceptions: Any = library("cryptography.exceptions", "phone")
ec: Any = library("cryptography.hazmat.primitives.asymmetric.ec", "phone")

PRIVATE = tuple(
    ipaddress.ip_network(text)
    for text in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7")
)
"""Addresses that no stranger on the internet can have: RFC 1918, RFC 3927, RFC 4193, and the loopback of RFC 1122."""
ROOT_LASTS = timedelta(days=3 * 365)
LEAF_LASTS = timedelta(days=90)
"""A telephone takes no server certificate that is good for much longer than a year; three months leave room."""
RENEW_BEFORE = timedelta(days=15)
_BACK = timedelta(days=1)
"""How far a telephone's clock may be behind."""


@dataclass(frozen=True)
class PhoneCertificate:
    """Files for an encrypted connection, and what a reader compares.

    Parameters
    ----------
    certificate, key : str
        Files in PEM form: the chain that is shown, and its key.
    root : bytes
        The root in DER form, which a phone can be told to trust.
    fingerprint, root_fingerprint : str
        SHA-256 of the certificate that the phone is shown and of the root, in pairs of digits.
    """

    certificate: str
    key: str
    root: bytes
    fingerprint: str
    root_fingerprint: str


def own_private_address() -> str:
    """The address of this computer that another device of the house reaches; nothing is sent to find it.

    Raises
    ------
    InputError
        If there is none, or it is no private one.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 9))  # a datagram socket only looks up the way; no packet leaves
            address = str(probe.getsockname()[0])
        except OSError:
            address = ""
    if not address or address.startswith("127."):
        raise InputError(
            "this computer has no address that a phone could reach.",
            where="--phone",
            mend="Join a hot-spot of your own first, or name the address with --host.",
        )
    return checked_private(address)


def checked_private(address: str) -> str:
    """An address, if it is one that only the house knows.

    Raises
    ------
    InputError
        If it is none, or strangers could reach it.
    """
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        raise InputError(
            f"{address!r} is no address.", where="--host", mend="Give it in digits, such as 192.168.137.1."
        ) from None
    if not any(parsed in network for network in PRIVATE if network.version == parsed.version):
        raise InputError(
            f"{address} is no private address; strangers could reach it.",
            where="--phone",
            mend="Use a hot-spot of your own, and name this computer's address on it with --host.",
        )
    return address


def certificate_for(address: str, folder: Path) -> PhoneCertificate:
    """The certificate for an address, made or made anew if need be; the root stays the same for three years.

    Parameters
    ----------
    address : str
        A private address of this computer.
    folder : Path
        Where root, certificate and keys are kept, readable by this account alone.

    Raises
    ------
    StoreError
        If they cannot be kept or are damaged.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        root, root_key = _kept(folder / "phone-root") or _new_root(folder)
        if _ends_soon(root):
            root, root_key = _new_root(folder)
        leaf = _kept(folder / "phone")
        if leaf is None or _ends_soon(leaf[0]) or not _is_for(leaf[0], address, root):
            leaf = _new_leaf(folder, address, root, root_key)
    except (OSError, ValueError) as fault:
        raise StoreError(
            f"the phone's certificate cannot be kept or read ({fault}).",
            where=str(folder),
            mend="Check the folder; remove the files phone* in it to begin anew.",
        ) from None
    digest = hashes.SHA256()
    return PhoneCertificate(
        str(folder / "phone.pem"),
        str(folder / "phone.key"),
        root.public_bytes(serialization.Encoding.DER),
        _pairs(leaf[0].fingerprint(digest)),
        _pairs(root.fingerprint(digest)),
    )


def _new_root(folder: Path) -> tuple[Any, Any]:
    key = ec.generate_private_key(ec.SECP256R1())
    permitted = [*(x509.IPAddress(network) for network in PRIVATE), x509.DNSName("local")]
    usage = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    extensions = (
        (x509.BasicConstraints(ca=True, path_length=0), True),
        (usage, True),
        # RFC 5280, section 4.2.1.10: whoever steals this key still cannot stand in for any site of the internet.
        (x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), True),
        (x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False),
    )
    name = x509.Name([x509.NameAttribute(x509.oid.NameOID.COMMON_NAME, f"roomfield on {_computer()}")])
    root = _signed(name, name, key.public_key(), key, ROOT_LASTS, extensions)
    _write(folder / "phone-root", root, key, ())
    return root, key


def _new_leaf(folder: Path, address: str, root: Any, root_key: Any) -> tuple[Any, Any]:
    key = ec.generate_private_key(ec.SECP256R1())
    names = [x509.IPAddress(ipaddress.ip_address(address)), x509.DNSName(f"{_computer()}.local")]
    extensions = (
        (x509.BasicConstraints(ca=False, path_length=None), True),
        (x509.SubjectAlternativeName(names), False),
        (x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), False),
        (x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), False),
    )
    name = x509.Name([x509.NameAttribute(x509.oid.NameOID.COMMON_NAME, f"roomfield at {address}")])
    leaf = _signed(name, root.subject, key.public_key(), root_key, LEAF_LASTS, extensions)
    _write(folder / "phone", leaf, key, (root,))
    return leaf, key


def _signed(
    subject: Any, issuer: Any, public: Any, key: Any, lasts: timedelta, extensions: tuple[tuple[Any, bool], ...]
) -> Any:
    now = datetime.now(UTC)
    builder = x509.CertificateBuilder().issuer_name(issuer).subject_name(subject).public_key(public)
    builder = builder.serial_number(x509.random_serial_number())
    builder = builder.not_valid_before(now - _BACK).not_valid_after(now + lasts)
    for extension, critical in extensions:
        builder = builder.add_extension(extension, critical)
    return builder.sign(key, hashes.SHA256())


def _write(stem: Path, certificate: Any, key: Any, chain: tuple[Any, ...]) -> None:
    pem = serialization.Encoding.PEM
    secret = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    _keep(stem.with_suffix(".key"), secret)
    _keep(stem.with_suffix(".pem"), b"".join(one.public_bytes(pem) for one in (certificate, *chain)))


def _keep(path: Path, content: bytes) -> None:
    beside = path.with_name(path.name + ".new")
    with os.fdopen(os.open(beside, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "wb") as file:
        file.write(content)
    beside.replace(path)


def _kept(stem: Path) -> tuple[Any, Any] | None:
    if not (stem.with_suffix(".pem").exists() and stem.with_suffix(".key").exists()):
        return None
    certificate = x509.load_pem_x509_certificate(stem.with_suffix(".pem").read_bytes())
    key = serialization.load_pem_private_key(stem.with_suffix(".key").read_bytes(), None)
    # Killed between the two files, the pair does not belong together; it is then made anew.
    return (certificate, key) if certificate.public_key() == key.public_key() else None


def _ends_soon(certificate: Any) -> bool:
    return bool(certificate.not_valid_after_utc - datetime.now(UTC) < RENEW_BEFORE)


def _is_for(leaf: Any, address: str, root: Any) -> bool:
    named = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = [str(one) for one in named.get_values_for_type(x509.IPAddress)]
    try:
        leaf.verify_directly_issued_by(root)
    except (ValueError, TypeError, exceptions.InvalidSignature):
        return False
    return address in addresses


def _computer() -> str:
    return re.sub(r"[^a-z0-9-]", "-", platform.node().partition(".")[0].lower()).strip("-")[:40] or "computer"


def _pairs(digest: bytes) -> str:
    return digest.hex(":").upper()
