"""Certificates of an authority of the test's own."""

import ssl
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from growers import clock


@dataclass(frozen=True)
class Authority:
    """Signs certificates; who trusts it trusts these."""

    folder: Path
    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    def server(self, host: str) -> ssl.SSLContext:
        """What a server for this host shows."""
        key = ec.generate_private_key(ec.SECP256R1())
        signed = _builder(_name(host), self.certificate.subject, key)
        names = x509.SubjectAlternativeName([x509.DNSName(host)])
        made = signed.add_extension(names, critical=False).sign(self.key, hashes.SHA256())
        file = self.folder / "server.pem"
        private = key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        file.write_bytes(private + made.public_bytes(serialization.Encoding.PEM))
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(file)
        return context

    def trusted(self) -> ssl.SSLContext:
        """What a client has that trusts it and nobody else."""
        text = self.certificate.public_bytes(serialization.Encoding.PEM).decode()
        return ssl.create_default_context(cadata=text)


def make_authority(folder: Path) -> Authority:
    """An authority that nobody knows."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name("authority of the tests")
    signed = _builder(name, name, key)
    limits = x509.BasicConstraints(ca=True, path_length=0)
    certificate = signed.add_extension(limits, critical=True).sign(key, hashes.SHA256())
    return Authority(folder, key, certificate)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey
) -> x509.CertificateBuilder:
    now = clock.true_now()
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
    )
