"""A database server that holds another log under the same address is not written to."""

import pytest

from coldtake.domain import events as ev
from coldtake.errors import StoreError
from coldtake.storage.database.log import SqlStore
from making import event

ONE = event(ev.AnswerTakenBack(try_id="t"))
OTHER = event(ev.AnswerTakenBack(try_id="other"))


@pytest.mark.postgres
def test_a_database_that_was_replaced_is_not_written_to(postgres_database):
    import psycopg

    store = SqlStore(postgres_database)
    store.append([ONE])
    second = SqlStore(postgres_database)
    assert second.place.name == store.place.name
    second.close()
    with psycopg.connect(postgres_database, autocommit=True) as other:
        other.execute("UPDATE identity SET id = 'another'")
    with pytest.raises(StoreError, match="was replaced"):
        store.append([OTHER])
    with psycopg.connect(postgres_database, autocommit=True) as other:
        other.execute("DROP TABLE identity")
    with pytest.raises(StoreError, match="was replaced"):
        store.append([ONE])
    assert [e for _, e in store.events()] == [ONE]
    store.close()
