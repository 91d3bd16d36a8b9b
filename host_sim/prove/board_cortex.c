/*
 * Start a program on an emulated Cortex-M: memory first, then `main` with the one
 * file that it reads. Files and prints go through semihosting.
 */
#include <stdint.h>
#include <stdlib.h>

extern uint32_t data_begin[], data_end[], data_stored[], bss_begin[], bss_end[];
extern uint32_t stack_top[];
extern void initialise_monitor_handles(void);
extern int main(int count, char **arguments);

void begin(void);

void begin(void)
{
    static char program[] = "replay", file[] = "episodes";
    static char *arguments[] = { program, file, NULL };
    for (uint32_t *word = bss_begin; word < bss_end; word++) {
        *word = 0;
    }
    for (uint32_t k = 0; data_begin + k < data_end; k++) {
        data_begin[k] = data_stored[k];
    }
    initialise_monitor_handles();
    exit(main(2, arguments));
}

static void stop(void)
{
    exit(EXIT_FAILURE);
}

struct vectors {
    uint32_t *stack;
    void (*handlers[3])(void);
};

__attribute__((section(".vectors"), used))
static const struct vectors vectors = { stack_top, { begin, stop, stop } };
