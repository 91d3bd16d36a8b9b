/*
 * Count the instructions of each tick while `replay.c` replays a file.
 *
 * `replay.c`, included below, calls `counted_tick` for `law_tick`, so it prints
 * the CRC of the very ticks that are counted here. The processor's own timer,
 * SysTick, counts; the emulator gives each instruction one nanosecond.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "law.h"
#include "pid_q31.h"

#define SYSTICK ((volatile uint32_t *)UINT32_C(0xE000E010))
#define SYSTICK_MASK UINT32_C(0xFFFFFF)

enum { CONTROL, RELOAD, CURRENT, TURNS = 500000 };
enum { ON_PROCESSOR_CLOCK = 5, ERROR_BITS = 16, REPEATS = 64 };
enum { WORK_WORDS = LAW_STATE_WORDS + PID_MEMORY };

#define PID_BYTES (PID_MEMORY * sizeof(int32_t))

typedef void step_function(int32_t *state, const int32_t *params);

struct tally {
    uint32_t sum;
    uint32_t most;
};

static struct tally nothing_tally, law_tally, pid_tally;
static uint32_t counted, pid_check;
static const int32_t pid_gains[PID_GAINS] = { 400000000, -500000000, 120000000 };

static uint32_t now(void)
{
    return ~SYSTICK[CURRENT] & SYSTICK_MASK;
}

static uint32_t known_loop(uint32_t turns)
{
    uint32_t before = now();
    __asm__ volatile("1: subs %0, #1\n bne 1b" : "+l"(turns) : : "cc");
    return (now() - before) & SYSTICK_MASK;
}

static void do_nothing(int32_t *state, const int32_t *params)
{
    (void)state;
    (void)params;
}

/* The PID's memory lies behind the law's state, so that one copy holds both. */
static void tick_pid(int32_t *state, const int32_t *params)
{
    (void)params;
    int32_t error = state[LAW_CURRENT_COUNTS] - state[LAW_PRESSURE_COUNTS];
    pid_q31(state + LAW_STATE_WORDS, pid_gains, error * (1 << ERROR_BITS));
}

/* Repeat one tick from one state: the timer is coarser than an instruction. */
static void count(struct tally *tally, step_function *volatile step,
                  const int32_t *start, int32_t *work, const int32_t *params)
{
    uint32_t before = now();
    for (int turn = 0; turn < REPEATS; turn++) {
        memcpy(work, start, WORK_WORDS * sizeof *work);
        step(work, params);
    }
    uint32_t took = (now() - before) & SYSTICK_MASK;
    tally->sum += took;
    tally->most = took > tally->most ? took : tally->most;
}

static void report(void)
{
    printf("loop %" PRIu32 "\n", known_loop(2 * TURNS) - known_loop(TURNS));
    printf("ticks %" PRIu32 "\n", counted);
    printf("nothing %" PRIu32 " %" PRIu32 "\n", nothing_tally.sum, nothing_tally.most);
    printf("law %" PRIu32 " %" PRIu32 "\n", law_tally.sum, law_tally.most);
    printf("pid %" PRIu32 " %" PRIu32 "\n", pid_tally.sum, pid_tally.most);
    printf("pid_check %" PRIu32 "\n", pid_check);
}

static void counted_tick(int32_t *state, const int32_t *params)
{
    static int32_t start[WORK_WORDS], work[WORK_WORDS];
    if (counted == 0) {
        SYSTICK[RELOAD] = SYSTICK_MASK;
        SYSTICK[CURRENT] = 0;
        SYSTICK[CONTROL] = ON_PROCESSOR_CLOCK;
        atexit(report);
    }
    counted++;
    memcpy(start, state, LAW_STATE_WORDS * sizeof *start);
    count(&nothing_tally, do_nothing, start, work, params);
    count(&law_tally, law_tick, start, work, params);
    memcpy(state, work, LAW_STATE_WORDS * sizeof *start);
    count(&pid_tally, tick_pid, start, work, params);
    memcpy(start + LAW_STATE_WORDS, work + LAW_STATE_WORDS, PID_BYTES);
    pid_check = pid_check * 31 + (uint32_t)work[WORK_WORDS - 1];
}

#define law_tick counted_tick
#include "replay.c"
