"""What must be said wherever figures might be acted on."""

CAUTIONS = (
    "Compressed air stores energy: fit a relief valve, isolate and vent before work.",
    "This controller is not a safety function; no figure here is a safety figure.",
    "Hazardous areas, local codes and licensed practice come first.",
)
