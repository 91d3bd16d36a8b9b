"""A tube given by its size, made into a restriction and a delay."""

from host_sim.plant.settings import Air, Tube
from host_sim.plant.tube import TubeFit, equivalent_restriction
from host_sim.scenario.refusal import refusal
from host_sim.scenario.tree import Tree

UPSTREAM = {"tube": "range.high", "supply.line": "supply.pressure"}
"""Upstream pressure at which the restriction is fitted to each tube."""


def read_tube(tree: Tree, path: str) -> Tube | None:
    """Read the size of a tube, unless C and b are given.

    Parameters
    ----------
    tree : Tree
        The file's keys.
    path : str
        "tube" or "supply.line".

    Returns
    -------
    Tube or None
        ``None`` when the file says the conductance.

    Raises
    ------
    InputError
        Neither or both are given, or half a size.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    conductance, length = f"{path}.conductance", f"{path}.length"
    diameter = f"{path}.inner_diameter"
    sizes = [key for key in (length, diameter) if tree.given(key)]
    if not sizes:
        if not tree.given(conductance):
            remedy = 'conductance = "6 dm3/(s.bar)", or length and inner_diameter'
            raise refusal(tree.where(conductance), None, "missing", f"write {remedy}")
        return None
    for key in (conductance, f"{path}.critical_ratio", f"{path}.index"):
        if tree.given(key):
            why, remedy = f"given beside {sizes[0]}", "keep one of them"
            raise refusal(tree.where(key), tree.said(key), why, remedy)
    if len(sizes) == 1:
        missing = diameter if sizes == [length] else length
        example = 'inner_diameter = "8 mm"' if sizes == [length] else 'length = "3 m"'
        why = f"missing beside {sizes[0]}"
        raise refusal(tree.where(missing), None, why, f"write for example {example}")
    return Tube(tree.number(length), tree.number(diameter))


def fit_tube(tree: Tree, path: str, tube: Tube, air: Air) -> TubeFit:
    """Find the restriction that stands for a tube where it is fitted.

    Parameters
    ----------
    tree : Tree
        The file's keys.
    path : str
        "tube", fitted at the top of the range, or "supply.line", fitted at the
        supply pressure.
    tube : Tube
        Its size.
    air : Air
        What flows in it.

    Returns
    -------
    TubeFit

    Notes
    -----
    Source: `equivalent_restriction`.
    """
    return equivalent_restriction(tube, air, tree.number(UPSTREAM[path]))
