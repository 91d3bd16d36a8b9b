"""What the tests of campaigns share: running one, and what to expect of it."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from host_sim.campaign.folder import list_chunks
from host_sim.campaign.run import run_campaign
from host_sim.errors import InputError


def run(asked, folder, executor=None, **options):
    with executor or ThreadPoolExecutor(2) as pool:
        return run_campaign(asked, folder, executor=pool, **options)


def assert_same(table, other):
    assert list(table) == list(other)
    for name, column in table.items():
        assert column.dtype == other[name].dtype, name
        assert column.tobytes() == other[name].tobytes(), name


def chunk_names(folder):
    return [path.name for _, _, path in list_chunks(folder)]


def refused(pattern, function, *args, **options):
    with pytest.raises(InputError, match=pattern) as caught:
        function(*args, **options)
    assert "\n" not in str(caught.value)
