"""Under which addresses the pages are announced, and under which names they answer."""

from __future__ import annotations

import ipaddress
import socket

from flowlog.web import addresses


def test_an_address_that_was_given_is_the_one_that_is_told():
    assert addresses.urls("127.0.0.1", 8733) == ["http://127.0.0.1:8733/"]
    assert addresses.urls("192.168.4.1", 80) == ["http://192.168.4.1:80/"]
    assert addresses.urls("fd00::1", 80) == ["http://[fd00::1]:80/"]


def test_where_it_listens_on_all_the_machines_own_addresses_are_told(monkeypatch):
    monkeypatch.setattr(addresses, "own_addresses", lambda: ["192.168.4.1", "10.0.0.7"])
    assert addresses.urls("0.0.0.0", 80) == ["http://192.168.4.1:80/", "http://10.0.0.7:80/"]
    monkeypatch.setattr(addresses, "own_addresses", list)
    assert addresses.urls("0.0.0.0", 80) == ["http://127.0.0.1:80/"]


def test_own_addresses_are_addresses_and_none_is_loopback():
    for address in addresses.own_addresses():
        assert not ipaddress.ip_address(address).is_loopback


def test_a_service_that_may_not_ask_for_them_has_none(monkeypatch):
    def refused():
        raise OSError(97, "Address family not supported by protocol")

    monkeypatch.setattr(socket, "if_nameindex", refused)
    assert addresses.own_addresses() == []


def test_the_machine_is_known_by_its_name_and_by_its_name_on_the_local_network(monkeypatch):
    monkeypatch.setattr(socket, "gethostname", lambda: "Cart.example.org")
    assert addresses.names_of_machine() == {"cart", "cart.local"}
