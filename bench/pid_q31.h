#ifndef PID_Q31_H
#define PID_Q31_H

#include <stdint.h>

enum { PID_GAINS = 3, PID_MEMORY = 3 };

/*
 * One tick of a bare PID in velocity form, q31 throughout:
 * u += g0 e + g1 e' + g2 e'', limited to +-1. `memory` holds e', e'' and u.
 * Gains of at most 1/4 keep the sum of the three products within 64 bits.
 */
void pid_q31(int32_t *memory, const int32_t *gains, int32_t error);

#endif
