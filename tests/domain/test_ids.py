"""Ids in the form of RFC 9562 (Davis, Peabody and Leach, Universally Unique IDentifiers, 2024)."""

import uuid

import pytest

from coldtake.domain.ids import named_id, uuid7


def test_uuid7_against_the_example_of_rfc_9562():
    """Appendix A.6: 2022-02-22 19:22:22 UTC, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F."""
    randomness = bytes.fromhex("0cc3" + "18c4dc0c0c07398f")
    assert uuid7(0x017F22E279B0, randomness) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def test_later_milliseconds_sort_later():
    made = [uuid7(ms, b"\xff" * 10) for ms in (0, 1, 2**40, 2**48 - 1)]
    assert made == sorted(made)


@pytest.mark.parametrize(("at_ms", "size"), [(-1, 10), (1 << 48, 10), (0, 9)])
def test_uuid7_refuses_what_does_not_fit(at_ms, size):
    with pytest.raises(ValueError, match="uuid7 needs"):
        uuid7(at_ms, bytes(size))


def test_named_ids_depend_on_every_part_and_its_border():
    made = named_id("ab", "c")
    assert made == named_id("ab", "c")
    assert made != named_id("a", "bc")
    assert uuid.UUID(made).version == 5
