"""One table of slots: where each number of a plant lies.

The kernels work on flat lists of floats so that a compiler can take them as
they are. ``state`` is what the integrator advances; ``view`` has the same
indices and shows what follows from the state at once; ``inputs`` is held during
a tick; ``params`` never changes.
"""

# State, and the view beside it.
TIME = 0  # time since the start [s]
POSITION = 1  # state: lagged drive or opening; view: effective opening [-]
PLAY = 2  # output of the play; committed at the end of a substep [-]
SENSED = 3  # lagged pressure behind the pressure channel [Pa]
SENSED_SUPPLY = 4  # the same of the supply channel [Pa]

# Nodes: state holds (mass kg, internal energy J), view (pressure Pa, temperature
# K). The two outer nodes hold what they received since the start. Energy counts
# only where some volume balances it.
ATMOSPHERE = 5
SOURCE = 7
SUPPLY = 9
LOAD = 11
DIRECT_STATES = 13
OUTLET = 13
PILOT = 15  # with `PilotLag` the state holds (pressure Pa, nothing)
CHAIN_STATES = 17

# Inputs, held during one tick.
DRIVE = 0  # [-]
SOURCE_PA = 1  # [Pa]
CONSUMPTION = 2  # [kg/s]
INPUTS = 3

# Offsets inside a block of parameters that describes a volume.
PA_PER_KG_K = 0  # gas constant over volume
BALANCES = 1  # 1.0: energy balance; 0.0: polytrope
START_KG = 2
START_K = 3
EXPONENT_LESS_1 = 4  # 0.0 makes the polytrope an isotherm
WALL_W_K = 5
WALL_K = 6
VOLUME_SIZE = 7

# A path is a block of (coefficient, steepness, index), see `mass_flow`; without
# one the coefficient is 0.
PATH_SIZE = 3

# Parameters of both arrangements.
KEEPS_ENERGY = 0  # 1.0: some volume balances energy
CV = 1  # [J/(kg K)]
CP = 2  # [J/(kg K)]
ATMOSPHERE_PA = 3
AMBIENT_K = 4
RIPPLE_PA = 5
RIPPLE_RAD_S = 6
SENSED_AT_OUTLET = 7  # 1.0: outlet, 0.0: load
SENSED_RATE = 8  # 1 / lag; 0.0: no lag [1/s]
SENSED_SUPPLY_RATE = 9
HAS_SUPPLY_VOLUME = 10
LAG_RATE = 11  # of valve or booster; 0.0: no lag [1/s]
HALF_PLAY = 12
LINE = 13
FILL = LINE + PATH_SIZE
EXHAUST = FILL + PATH_SIZE
BLEED = EXHAUST + PATH_SIZE
SUPPLY_VOLUME = BLEED + PATH_SIZE
LOAD_VOLUME = SUPPLY_VOLUME + VOLUME_SIZE
DIRECT_PARAMS = LOAD_VOLUME + VOLUME_SIZE

# Parameters of the chain alone.
FULL_OPENING_PA = DIRECT_PARAMS
DEAD_BAND = FULL_OPENING_PA + 1
PILOT_IS_LAG = DEAD_BAND + 1
PILOT_LOW_PA = PILOT_IS_LAG + 1
PILOT_HIGH_PA = PILOT_LOW_PA + 1
PILOT_RATE = PILOT_HIGH_PA + 1  # 0.0: no lag [1/s]
PILOT_FILL = PILOT_RATE + 1
PILOT_EXHAUST = PILOT_FILL + PATH_SIZE
PILOT_BLEED = PILOT_EXHAUST + PATH_SIZE
TUBE = PILOT_BLEED + PATH_SIZE
OUTLET_VOLUME = TUBE + PATH_SIZE
PILOT_VOLUME = OUTLET_VOLUME + VOLUME_SIZE
CHAIN_PARAMS = PILOT_VOLUME + VOLUME_SIZE
