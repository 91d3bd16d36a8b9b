"""A converted flow capacity as a table."""

from host_sim.show.tables import console, new_table
from host_sim.size.converting import Conversion
from host_sim.size.report import CONDUCTANCE, FORMULAS


def show_conversion(conversion: Conversion) -> None:
    """Print every unit, and what the figures stand on."""
    out = console()
    table = new_table(conversion.said, ("", "likely", "least", "most"))
    for name, (least, likely, most) in (
        (f"C, {CONDUCTANCE}", conversion.conductance_dm3_s_bar),
        ("b", conversion.critical_ratio),
        ("Kv, m3/h at 1 bar", conversion.kv_m3_h),
        ("Cv, US gal/min at 1 psi", conversion.cv_gal_min),
        ("flow, l/min ANR", conversion.flow_l_min_anr),
        ("flow, SCFM", conversion.flow_scfm),
    ):
        table.add_row(name, *(f"{number:.4g}" for number in (likely, least, most)))
    out.print(table)
    out.print(
        f"flows: {conversion.conditions}, air of 20 degC; ANR is 20 degC, 100 kPa, "
        f"65 % humidity; SCFM is {conversion.scfm_state}, dry"
    )
    if conversion.assumed:
        out.print(f"assumed: {conversion.assumed}")
    out.print(f"Cv and Kv: {FORMULAS['Cv and Kv']}")
