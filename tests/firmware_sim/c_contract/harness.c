/* Test bench: 'D HEX' feeds bytes to the receiver, 'E id seq tick values | tail' builds a frame, 'N' counts. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "nightkeel_contract.h"

static struct nk_frame frame;
static struct nk_receiver receiver;
static uint8_t out[NK_FRAME_MAX + 1];
static char line[65536];

static void show(enum nk_result result)
{
    printf("%d", (int)result);
    if (result == NK_OK) {
        size_t count = strlen(nk_layout_of(frame.message)->codes);
        printf(" %u %" PRIu32 " %" PRIu32, frame.message, frame.seq, frame.tick);
        for (size_t i = 0; i < count; i++)
            printf(" %" PRId64, frame.values[i]);
        printf(" |");
        for (size_t i = 0; i < frame.tail_count; i++)
            printf(" %" PRId32, frame.tail[i]);
    }
    printf("\n");
}

static void decode(const char *hex)
{
    unsigned byte;
    for (; sscanf(hex, "%2x", &byte) == 1; hex += 2) {
        enum nk_result result = nk_receive(&receiver, (uint8_t)byte, 0, 0, &frame);
        if (result != NK_WAIT)
            show(result);
    }
    printf("end\n");
}

static void encode(char *text)
{
    size_t size, count = 0;
    frame.tail_count = 0;
    frame.message = (uint8_t)strtoul(text, &text, 10);
    frame.seq = (uint32_t)strtoul(text, &text, 10);
    frame.tick = (uint32_t)strtoul(text, &text, 10);
    while (*++text != '|')
        frame.values[count++] = strtoll(text, &text, 10);
    while (*++text == ' ')
        frame.tail[frame.tail_count++] = (int32_t)strtol(text, &text, 10), text--;
    size = nk_build(&frame, 0, 0, out);
    for (size_t i = 0; i < size; i++)
        printf("%02x", out[i]);
    printf("\nend\n");
}

int main(void)
{
    printf("%lu %lu %s\n", (unsigned long)NK_DIGEST_LOW, (unsigned long)NK_DIGEST_HIGH, nk_alarm_names[0]);
    fflush(stdout);
    while (fgets(line, sizeof line, stdin)) {
        if (line[0] == 'D')
            decode(line + 2);
        else
            encode(line + 1);
        fflush(stdout);
    }
    return 0;
}
