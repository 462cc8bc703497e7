"""TLS with certificates made for the test."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

pytestmark = pytest.mark.broker


@dataclass(frozen=True)
class Certificates:
    authority: Path
    server: tuple[Path, Path]


@pytest.fixture
def certify(tool, tmp_path):
    """`certify(name, host=, days=)` makes an authority and a server's certificate signed by it."""
    openssl = tool("openssl")

    def run(*arguments):
        subprocess.run([openssl, *arguments], check=True, capture_output=True, cwd=tmp_path)

    def make(name, host="IP:127.0.0.1", days=2):
        ca, ca_key = tmp_path / f"{name}-ca.pem", tmp_path / f"{name}-ca.key"
        certificate, key = tmp_path / f"{name}.pem", tmp_path / f"{name}.key"
        request, names = tmp_path / f"{name}.csr", tmp_path / f"{name}.ext"
        names.write_text(f"subjectAltName={host}\n")
        new_key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
        run(
            *("req", "-x509", *new_key, "-days", "2", "-subj", f"/CN={name} authority"),
            *("-keyout", ca_key, "-out", ca),
        )
        run("req", *new_key, "-subj", "/CN=broker", "-keyout", key, "-out", request)
        run(
            *("x509", "-req", "-in", request, "-CA", ca, "-CAkey", ca_key, "-CAcreateserial"),
            *("-days", str(days), "-extfile", names, "-out", certificate),
        )
        return Certificates(ca, (certificate, key))

    return make


def test_a_broker_with_a_certificate_of_a_known_authority_is_used(
    certify, start_broker, publish_to, outbox, until
):
    mine = certify("mine")
    broker = start_broker(certificates=mine.server)
    publisher = publish_to(broker, tls=True, ca_file=str(mine.authority))
    for number in range(120):
        outbox.add("flowlog/1/cart/alert", f"a{number}")
    outbox.drain(publisher)
    assert publisher.state().word == "connected"


def test_a_wrong_authority_is_refused_in_one_sentence(certify, start_broker, publish_to, until):
    broker = start_broker(certificates=certify("mine").server)
    other = certify("other")
    publisher = publish_to(broker, tls=True, ca_file=str(other.authority))
    until(lambda: publisher.state().word == "refused")
    sentence = publisher.state().sentence
    assert "its certificate is refused" in sentence
    assert "broker.ca_file" in sentence


def test_without_a_ca_file_the_system_s_authorities_decide(
    certify, start_broker, publish_to, until
):
    broker = start_broker(certificates=certify("mine").server)
    publisher = publish_to(broker, tls=True)
    until(lambda: publisher.state().word == "refused")
    assert "its certificate is refused" in publisher.state().sentence


def test_a_certificate_for_another_host_is_refused(certify, start_broker, publish_to, until):
    mine = certify("mine", host="DNS:elsewhere.example")
    broker = start_broker(certificates=mine.server)
    publisher = publish_to(broker, tls=True, ca_file=str(mine.authority))
    until(lambda: publisher.state().word == "refused")
    assert "127.0.0.1" in publisher.state().sentence


def test_a_certificate_out_of_date_is_tried_again_soon_because_the_clock_may_be_wrong(
    certify, start_broker, publish_to, until
):
    mine = certify("mine", days=-1)
    broker = start_broker(certificates=mine.server)
    publisher = publish_to(broker, tls=True, ca_file=str(mine.authority))
    until(lambda: publisher.state().word == "away")
    assert "is this computer's date right?" in publisher.state().sentence


@pytest.mark.parametrize(
    ("content", "why"), [(None, "No such file"), ("no certificate", "no certificate in PEM")]
)
def test_a_ca_file_that_cannot_be_used_is_named(publish_to, until, tmp_path, content, why):
    path = tmp_path / "ca.pem"
    if content is not None:
        path.write_text(content)
    publisher = publish_to(None, port=1, tls=True, ca_file=str(path))
    until(lambda: publisher.state().word == "refused")
    assert str(path) in publisher.state().sentence
    assert why in publisher.state().sentence


def test_tls_and_no_tls_do_not_meet_and_say_so(certify, start_broker, publish_to, until):
    mine = certify("mine")
    plain = publish_to(start_broker(), tls=True, ca_file=str(mine.authority))
    until(lambda: plain.state().word == "away")
    assert "no TLS on this port" in plain.state().sentence
    secured = publish_to(start_broker(certificates=mine.server), rig="other")
    until(lambda: secured.state().word == "away")
    assert "broker.tls = true" in secured.state().sentence
