"""Golden vectors on a device, bit for bit, beside what it controls."""

import tempfile
from array import array
from collections.abc import Callable
from pathlib import Path

from firmware_model.device import protocol
from firmware_model.law import tick as law_tick
from host_sim.device.link import DeviceLink
from host_sim.prove.vector_scenes import INPUTS
from host_sim.prove.vectors import VectorCheck, check_vectors, vector_texts


class TrialLaw:
    """The device's law on words of its own, as the vectors' replay calls it.

    Where a device has no arrays for trials, its law runs on the only ones there
    are; the reset is done here then.

    Parameters
    ----------
    link : DeviceLink
    each_tick : callable, optional
        Called with the number of ticks done.
    """

    def __init__(
        self, link: DeviceLink, each_tick: Callable[[int], None] | None = None
    ) -> None:
        self.link = link
        self._each_tick = each_tick
        self._ticks = 0
        self._state: array[int] = array("i")
        self._params: array[int] = array("i")

    def tick(self, state: "array[int]", params: "array[int]") -> None:
        """Run one tick there; bring its words back."""
        self._send(state, params)
        inputs = state[:INPUTS]
        if self.link.identity.stores:
            words = self.link.try_tick(inputs)
        else:
            self.link.write_words(protocol.OF_TRIAL_STATE, inputs)
            self.link.exchange(*inputs[:3])
            words = self.link.read_words(protocol.OF_TRIAL_STATE, len(state))
        self._keep(state, words)
        self._ticks += 1
        if self._each_tick is not None:
            self._each_tick(self._ticks)

    def reset(self, state: "array[int]") -> None:
        """Forget all but inputs and output, there."""
        if self.link.identity.stores and self._params:
            self._send(state, self._params)
            self._keep(state, self.link.try_tick(None))
        else:
            law_tick.reset(state)

    def _send(self, state: "array[int]", params: "array[int]") -> None:
        if params != self._params:
            self.link.write_words(protocol.OF_TRIAL_PARAMETERS, params)
            self._params = array("i", params)
        # The inputs go with every tick.
        if state[INPUTS:] != self._state[INPUTS:]:
            self.link.write_words(protocol.OF_TRIAL_STATE, state)

    def _keep(self, state: "array[int]", words: list[int]) -> None:
        state[:] = array("i", words)
        self._state = array("i", words)


def check_device(
    link: DeviceLink,
    folder: Path | None = None,
    each_tick: Callable[[int], None] | None = None,
) -> VectorCheck:
    """Replay golden vectors on a device up to the first difference.

    Parameters
    ----------
    link : DeviceLink
        Open.
    folder : Path, optional
        Of vectors written before; this law's own unless given.
    each_tick : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    VectorCheck

    Raises
    ------
    InputError
        The files are not whole, or the device is silent or refuses.
    """
    law = TrialLaw(link, each_tick)
    if folder is not None:
        return check_vectors(folder, law)
    with tempfile.TemporaryDirectory() as name:
        for file, text in vector_texts().items():
            (Path(name) / file).write_text(text)
        return check_vectors(Path(name), law)
