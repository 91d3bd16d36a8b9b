/*
 * Replay a file of random episodes through the exported law.
 *
 * Reads what replay.py reads and prints what it prints: one line for each
 * episode, the CRC-32 over all state words of all its ticks, then the last
 * state. The file holds words of the machine that wrote it, so this program
 * runs on the same kind of machine.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "law.h"

enum { INPUTS = 5, HEAD = 3 };

static uint32_t crc_table[256];

static void fill_crc_table(void)
{
    for (uint32_t byte = 0; byte < 256; byte++) {
        uint32_t rest = byte;
        for (int bit = 0; bit < 8; bit++) {
            rest = rest & 1 ? rest >> 1 ^ UINT32_C(0xEDB88320) : rest >> 1;
        }
        crc_table[byte] = rest;
    }
}

static uint32_t crc_of_state(const int32_t *state, uint32_t crc)
{
    crc = ~crc;
    for (int slot = 0; slot < LAW_STATE_WORDS; slot++) {
        uint32_t word = (uint32_t)state[slot];
        for (int byte = 0; byte < 4; byte++) {
            crc = crc >> 8 ^ crc_table[(crc ^ word) & 255];
            word >>= 8;
        }
    }
    return ~crc;
}

static void read_words(FILE *stream, int32_t *words, size_t count)
{
    if (fread(words, sizeof *words, count, stream) != count) {
        fprintf(stderr, "the file of episodes ends too early\n");
        exit(EXIT_FAILURE);
    }
}

static void replay(FILE *stream, int32_t ticks)
{
    int32_t params[LAW_PARAMETER_WORDS];
    int32_t state[LAW_STATE_WORDS];
    uint32_t crc = 0;
    read_words(stream, params, LAW_PARAMETER_WORDS);
    read_words(stream, state, LAW_STATE_WORDS);
    for (; ticks > 0; ticks--) {
        read_words(stream, state, INPUTS);
        law_tick(state, params);
        crc = crc_of_state(state, crc);
    }
    printf("%08" PRIx32, crc);
    for (int slot = 0; slot < LAW_STATE_WORDS; slot++) {
        printf(" %" PRId32, state[slot]);
    }
    printf("\n");
}

int main(int count, char **arguments)
{
    int32_t head[HEAD];
    FILE *stream = count == 2 ? fopen(arguments[1], "rb") : NULL;
    if (stream == NULL) {
        fprintf(stderr, "usage: replay EPISODES\n");
        return EXIT_FAILURE;
    }
    fill_crc_table();
    read_words(stream, head, HEAD);
    while (head[0] != 0) {
        if (head[0] != LAW_PARAMETER_WORDS || head[1] != LAW_STATE_WORDS) {
            fprintf(stderr, "the episodes are of another layout\n");
            return EXIT_FAILURE;
        }
        replay(stream, head[2]);
        read_words(stream, head, HEAD);
    }
    fclose(stream);
    return EXIT_SUCCESS;
}
