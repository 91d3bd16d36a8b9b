"""The store's banks on simulated media."""

import random

import pytest
from failing_files import FailingFiles
from failing_flash import FailingFlash

from firmware_model.device import banks_file
from firmware_model.device.banks_file import FileBanks
from firmware_model.device.banks_flash import FlashBanks

PAGE_BYTES = 1024


@pytest.fixture
def file_banks(monkeypatch):
    """Make banks on a simulated file system, which is then the one that is open."""

    def banks(files):
        monkeypatch.setattr(banks_file, "open", files.open, raising=False)
        return FileBanks("pilot")

    return banks


@pytest.fixture(params=["flash", "files"])
def banks(request, file_banks):
    """Give banks on each kind of medium, nothing stored yet."""
    source = random.Random(7)
    if request.param == "files":
        return file_banks(FailingFiles(source))
    return FlashBanks(FailingFlash(source, 2, PAGE_BYTES, 4), 0, PAGE_BYTES)
