"""What the system says becomes words with a remedy."""

import errno

import pytest

from coldtake.errors import StoreError
from coldtake.storage.fault_messages import of_system, spoken


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "disk is full"),
        (errno.EROFS, "cannot be written"),
        (errno.EACCES, "cannot be written"),
        (errno.EIO, "Input/output error"),
    ],
)
def test_faults_of_the_system(number, words):
    import os

    told = of_system(OSError(number, os.strerror(number)), "/some/where")
    assert words in told.what
    assert told.where == "/some/where"
    assert told.remedy


def test_a_missing_driver_says_how_to_install_it():
    with pytest.raises(StoreError, match=r"needs psycopg.*coldtake\[studio\]"), spoken("there"):
        raise ModuleNotFoundError("No module named 'psycopg'", name="psycopg")
