/*
 * The loop of host_case.toml by hand: arrangement A, isothermal load, lag of the
 * valve and of the pressure sensor. Plain scalar code. `law.c`, included below,
 * is the project's own C99 export, readable and as generated.
 *
 * Every sum and product stands in the order of the Python kernels, so that the
 * answers can be compared bit for bit.
 */
#include <math.h>
#include <stdint.h>

/* Declared static first, it has one caller, and so is inlined. */
static void law_tick(int32_t *state, const int32_t *params);
#include "law.c"

enum { HALF_DECAY, DECAY, HALF_GAIN, FIRST, MIDDLE, LAST, WEIGHTS };
enum { LOW, HIGH, LEVEL_COUNTS, CHANNEL };

#define FULL_COUNTS 32767.0
#define FULL_DRIVE 25000.0
#define LAMINAR_FALL 1e-3

struct plant {
    double valve_rate, sensor_rate;
    double valve[WEIGHTS], sensor[WEIGHTS], volume[WEIGHTS];
    double fill, fill_steepness, exhaust, exhaust_steepness;
    double supply_pa, atmosphere_pa, air_k, pa_per_kg_k;
    double current_ma[CHANNEL], pressure_pa[CHANNEL], source_pa[CHANNEL];
};

/* Also the rates of the state, but for the decay of the lags. */
struct state {
    double opening, sensed_pa, load_kg, drawn_kg;
};

static double larger(double one, double other)
{
    return other > one ? other : one;
}

static double smaller(double one, double other)
{
    return other < one ? other : one;
}

static int32_t counts_of(double measured, const double *channel)
{
    double share = (measured - channel[LOW]) / (channel[HIGH] - channel[LOW]);
    double counts = FULL_COUNTS * smaller(larger(share, 0.0), 1.0);
    double level = floor(counts / channel[LEVEL_COUNTS] + 0.5);
    return (int32_t)floor(level * channel[LEVEL_COUNTS] + 0.5);
}

/* Left to itself the compiler calls it four times, and the loop is 16 % slower. */
static inline __attribute__((always_inline)) struct state
rates_of(const struct plant *plant, double drive, double opening, double load_kg)
{
    int fills = opening > 0.0;
    double load_pa = load_kg * plant->air_k * plant->pa_per_kg_k;
    double other_pa = fills ? plant->supply_pa : plant->atmosphere_pa;
    double high_pa = larger(other_pa, load_pa);
    double fall = fabs(other_pa - load_pa) / high_pa;
    double steepness = fills ? plant->fill_steepness : plant->exhaust_steepness;
    double place = larger(1.0 - steepness * larger(fall, LAMINAR_FALL), 0.0);
    double factor = sqrt((1.0 - place * place) / plant->air_k);
    factor *= smaller(fall * (1.0 / LAMINAR_FALL), 1.0);
    double flow = (fills ? plant->fill : plant->exhaust) * high_pa * factor;
    double inflow = fabs(opening) * (other_pa >= load_pa ? flow : -flow);
    return (struct state){
        .opening = plant->valve_rate * drive,
        .sensed_pa = plant->sensor_rate * load_pa,
        .load_kg = inflow,
        .drawn_kg = fills ? -inflow : 0.0,
    };
}

static double all_of(const double *weights, double one, double two, double three,
                     double four)
{
    double total = weights[FIRST] * one + weights[MIDDLE] * two;
    return total + weights[MIDDLE] * three + weights[LAST] * four;
}

/* One exponential Runge-Kutta step of order 4; see `integrate.step`. */
static void step(const struct plant *plant, double drive, struct state *now)
{
    const double *valve = plant->valve, *sensor = plant->sensor;
    const double *volume = plant->volume;
    double opening = now->opening, load_kg = now->load_kg;

    struct state one = rates_of(plant, drive, opening, load_kg);
    double half = valve[HALF_DECAY] * opening + valve[HALF_GAIN] * one.opening;
    double half_kg = load_kg + volume[HALF_GAIN] * one.load_kg;
    double ahead = valve[HALF_DECAY] * half - valve[HALF_GAIN] * one.opening;
    double ahead_kg = half_kg - volume[HALF_GAIN] * one.load_kg;

    struct state two = rates_of(plant, drive, half, half_kg);
    half = valve[HALF_DECAY] * opening + valve[HALF_GAIN] * two.opening;
    half_kg = load_kg + volume[HALF_GAIN] * two.load_kg;

    struct state three = rates_of(plant, drive, half, half_kg);
    ahead += 2.0 * valve[HALF_GAIN] * three.opening;
    ahead_kg += 2.0 * volume[HALF_GAIN] * three.load_kg;

    struct state four = rates_of(plant, drive, ahead, ahead_kg);
    now->opening = valve[DECAY] * opening
        + all_of(valve, one.opening, two.opening, three.opening, four.opening);
    now->sensed_pa = sensor[DECAY] * now->sensed_pa
        + all_of(sensor, one.sensed_pa, two.sensed_pa, three.sensed_pa,
                 four.sensed_pa);
    now->load_kg += all_of(volume, one.load_kg, two.load_kg, three.load_kg,
                           four.load_kg);
    now->drawn_kg += all_of(volume, one.drawn_kg, two.drawn_kg, three.drawn_kg,
                            four.drawn_kg);
}

void run_loop(const struct plant *plant, int32_t ticks, int32_t substeps,
              struct state *state, int32_t *words, const int32_t *block,
              const double *commands_ma, double *load_pa, double *drives)
{
    struct state now = *state;
    for (int32_t k = 0; k < ticks; k++) {
        words[LAW_CURRENT_COUNTS] = counts_of(commands_ma[k], plant->current_ma);
        words[LAW_PRESSURE_COUNTS] = counts_of(now.sensed_pa, plant->pressure_pa);
        words[LAW_SUPPLY_COUNTS] = counts_of(plant->supply_pa, plant->source_pa);
        law_tick(words, block);
        double drive = words[LAW_DRIVE] / FULL_DRIVE;
        load_pa[k] = now.load_kg * plant->air_k * plant->pa_per_kg_k;
        drives[k] = drive;
        for (int32_t n = 0; n < substeps; n++) {
            step(plant, drive, &now);
        }
    }
    *state = now;
}
