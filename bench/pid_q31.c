#include "pid_q31.h"

void pid_q31(int32_t *memory, const int32_t *gains, int32_t error)
{
    int64_t sum = (int64_t)gains[0] * error;
    sum += (int64_t)gains[1] * memory[0];
    sum += (int64_t)gains[2] * memory[1];
    sum = (sum >> 31) + memory[2];
    if (sum > INT32_MAX) {
        sum = INT32_MAX;
    } else if (sum < INT32_MIN) {
        sum = INT32_MIN;
    }
    memory[1] = memory[0];
    memory[0] = error;
    memory[2] = (int32_t)sum;
}
