"""A hundred damaged inputs for each reader; the bench tries ten thousand and more."""

import pytest
from fuzz_readers import READERS
from fuzz_seeds import SEEDS, seeds_of
from mutations import mutant

from coldtake.errors import ColdtakeError

FIRST, COUNT, MOST_BYTES = 1_000_000, 100, 8_000  # numbers that the bench does not reach
FEWER = {"archive": 30}  # each makes a data folder


@pytest.mark.parametrize("reader", sorted(SEEDS))
def test_damaged_input_is_read_or_refused(reader):
    seeds = [s for s in seeds_of(reader) if len(s) <= MOST_BYTES] or seeds_of(reader)
    refused, count = [], FEWER.get(reader, COUNT)
    most = max(MOST_BYTES, *map(len, seeds))
    for number in range(FIRST, FIRST + count):
        data = mutant(seeds, reader, number)[:most]
        try:
            READERS[reader](data)
        except ColdtakeError as refusal:
            refused.append(refusal.what)
    assert all(refused)
    assert (
        count // 10 <= len(refused) < count
    )  # neither did the damage do nothing, nor was all of it senseless


def test_the_same_number_is_the_same_input():
    seeds = seeds_of("chords")
    assert mutant(seeds, "chords", 7) == mutant(seeds, "chords", 7)
    made = {mutant(seeds, "chords", n) for n in range(50)}
    assert len(made) > 40
