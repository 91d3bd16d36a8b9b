/*
 * Replay the golden vectors through the exported law.
 *
 *     cc -std=c99 -O2 -o selftest law.c selftest.c
 *     ./selftest parameters.txt ticks.txt
 *
 * The header of ticks.txt explains both files. Ends with 0 when every running
 * CRC and every recorded word is met; otherwise says the first that is not.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "law.h"

enum { INPUTS = 5, LONGEST = 4096 };

/* A text file, read line by line, with the CRC of the lines above this one. */
struct source {
    const char *path;
    FILE *stream;
    long line;
    uint32_t above;
    uint32_t through;
    char text[LONGEST];
};

static void fail(const struct source *source, const char *why)
{
    printf("%s:%ld: %s\n", source->path, source->line, why);
    exit(EXIT_FAILURE);
}

/* CRC-32/ISO-HDLC, continued from an earlier one; 0 starts it. */
static uint32_t crc32(uint32_t crc, const unsigned char *bytes, size_t count)
{
    crc = ~crc;
    for (size_t k = 0; k < count; k++) {
        crc ^= bytes[k];
        for (int bit = 0; bit < 8; bit++) {
            crc = crc & 1 ? crc >> 1 ^ UINT32_C(0xEDB88320) : crc >> 1;
        }
    }
    return ~crc;
}

static uint32_t crc_of_state(uint32_t crc, const int32_t *state)
{
    unsigned char bytes[4 * LAW_STATE_WORDS];
    for (int slot = 0; slot < LAW_STATE_WORDS; slot++) {
        uint32_t word = (uint32_t)state[slot];
        for (int byte = 0; byte < 4; byte++) {
            bytes[4 * slot + byte] = (unsigned char)(word >> 8 * byte & 255);
        }
    }
    return crc32(crc, bytes, sizeof bytes);
}

static void open_source(struct source *source, const char *path)
{
    source->path = path;
    source->line = 0;
    source->above = 0;
    source->through = 0;
    source->stream = fopen(path, "rb");
    if (source->stream == NULL) {
        fail(source, "cannot be opened");
    }
}

/* Read the next line that is no comment; give what follows its keyword. */
static const char *next_line(struct source *source)
{
    do {
        source->line++;
        const char *found = fgets(source->text, LONGEST, source->stream);
        size_t length = found == NULL ? 0 : strlen(found);
        if (length == 0 || found[length - 1] != '\n') {
            fail(source, "cut short: write the vectors again");
        }
        source->above = source->through;
        source->through =
            crc32(source->through, (const unsigned char *)source->text, length);
    } while (source->text[0] == '#');
    return source->text + strcspn(source->text, " \n");
}

static int is(const struct source *source, const char *keyword)
{
    size_t length = strcspn(source->text, " \n");
    return strlen(keyword) == length && strncmp(source->text, keyword, length) == 0;
}

static const char *read_words(const struct source *source, const char *text,
                              int32_t *words, int count)
{
    for (int k = 0; k < count; k++) {
        char *end;
        words[k] = (int32_t)strtol(text, &end, 10);
        if (end == text) {
            fail(source, "a number is missing");
        }
        text = end;
    }
    return text;
}

static uint32_t read_hex(const char *text)
{
    return (uint32_t)strtoul(text, NULL, 16);
}

/* Check the sum line and close; the sum must be that of the lines above. */
static uint32_t finish(struct source *source, const char *rest)
{
    if (read_hex(rest) != source->above) {
        fail(source, "edited: the sum differs; write the vectors again");
    }
    fclose(source->stream);
    return source->above;
}

static void check_layout(const struct source *source, const char *rest)
{
    if (read_hex(rest) != LAW_LAYOUT) {
        fail(source, "another layout than this law's; write the vectors again");
    }
}

/* Read one block, and the whole file with it: its sum counts. */
static uint32_t read_block(const char *path, long wanted, int32_t *params)
{
    struct source source;
    long blocks = 0;
    const char *rest;
    open_source(&source, path);
    for (rest = next_line(&source); !is(&source, "sum"); rest = next_line(&source)) {
        if (is(&source, "layout")) {
            check_layout(&source, rest);
        } else if (is(&source, "block")) {
            int32_t number;
            rest = read_words(&source, rest, &number, 1);
            if (number == wanted) {
                read_words(&source, rest, params, LAW_PARAMETER_WORDS);
            }
            blocks++;
        }
    }
    if (wanted >= blocks) {
        fail(&source, "the block of an episode is missing");
    }
    return finish(&source, rest);
}

static void check_state(const struct source *source, const char *rest,
                        const int32_t *state)
{
    int32_t wanted[LAW_STATE_WORDS];
    read_words(source, rest, wanted, LAW_STATE_WORDS);
    for (int slot = 0; slot < LAW_STATE_WORDS; slot++) {
        if (state[slot] != wanted[slot]) {
            printf("state word %d: expected %" PRId32 ", got %" PRId32 "\n", slot,
                   wanted[slot], state[slot]);
            fail(source, "the state differs");
        }
    }
}

/* What the file of ticks has said so far, and where the law stands. */
struct check {
    const char *blocks;
    uint32_t blocks_sum;
    int32_t params[LAW_PARAMETER_WORDS];
    int32_t state[LAW_STATE_WORDS];
    uint32_t crc;
    long episodes;
    long ticks;
    int32_t end[2];
};

static void begin(struct check *check, const struct source *source, const char *rest)
{
    int32_t number;
    read_words(source, rest, &number, 1);
    if (read_block(check->blocks, number, check->params) != check->blocks_sum) {
        fail(source, "the parameters file is not the one written with this");
    }
    check->crc = 0;
    check->episodes++;
}

static void run(struct check *check, const struct source *source, const char *rest)
{
    rest = read_words(source, rest, check->state, INPUTS);
    law_tick(check->state, check->params);
    check->crc = crc_of_state(check->crc, check->state);
    check->ticks++;
    if (read_hex(rest) != check->crc) {
        fail(source, "the running CRC differs after this tick");
    }
}

static void obey(struct check *check, const struct source *source, const char *rest)
{
    if (is(source, "tick")) {
        run(check, source, rest);
    } else if (is(source, "state")) {
        check_state(source, rest, check->state);
    } else if (is(source, "reset")) {
        law_reset(check->state);
    } else if (is(source, "start")) {
        read_words(source, rest, check->state, LAW_STATE_WORDS);
    } else if (is(source, "episode")) {
        begin(check, source, rest);
    } else if (is(source, "parameters")) {
        check->blocks_sum = read_hex(rest);
    } else if (is(source, "layout")) {
        check_layout(source, rest);
    } else if (is(source, "end")) {
        read_words(source, rest, check->end, 2);
    } else {
        fail(source, "unknown keyword");
    }
}

int main(int count, char **arguments)
{
    struct source source;
    struct check check = {0};
    const char *rest;
    if (count != 3) {
        printf("usage: selftest PARAMETERS TICKS\n");
        return EXIT_FAILURE;
    }
    check.blocks = arguments[1];
    open_source(&source, arguments[2]);
    for (rest = next_line(&source); !is(&source, "sum"); rest = next_line(&source)) {
        obey(&check, &source, rest);
    }
    finish(&source, rest);
    if (check.ticks == 0 || check.end[0] != check.episodes ||
        check.end[1] != check.ticks) {
        fail(&source, "the count of episodes or ticks differs");
    }
    printf("%ld episodes, %ld ticks: every word agrees\n", check.episodes, check.ticks);
    return EXIT_SUCCESS;
}
