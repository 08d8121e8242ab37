/* Generated from the contract's tables by `nightkeel contract --c`; a change belongs into the tables.
 * SPDX-License-Identifier: Apache-2.0
 *
 * A board that speaks this protocol says these two digest words in its hello; a host whose words differ
 * refuses it by name. A quantity that may be missing travels as nk_none() of its code.
 */
#ifndef NIGHTKEEL_CONTRACT_H
#define NIGHTKEEL_CONTRACT_H

#include <stddef.h>
#include <stdint.h>

@CONSTANTS@

@ENUMS@

/* One message: the codes of its fields as in wire_format.md, little-endian without padding, which of them
 * may be missing ('?'), and the code of the array that fills the rest, 0 for none. */
struct nk_layout {
    uint8_t message;
    uint8_t is_reliable;
    const char *name;
    const char *codes;
    const char *missing;
    char tail;
};

extern const struct nk_layout nk_layouts[NK_MESSAGE_COUNT];
extern const char *const nk_alarm_names[NK_ALARM_COUNT];

/* One message with its frame; `values` in the order of the NK_<MESSAGE>_<FIELD> numbers. */
struct nk_frame {
    uint8_t message;
    uint32_t seq;
    uint32_t tick;
    int64_t values[NK_FIELDS_MAX];
    size_t tail_count;
    int32_t tail[NK_PAYLOAD_MAX];
};

/* Bytes as they come in, up to the next delimiter; begin with size 0. */
struct nk_receiver {
    size_t size;
    uint8_t block[NK_FRAME_MAX];
};

enum nk_result {
    NK_OK, NK_WAIT, NK_STUFFING, NK_SHORT, NK_CRC, NK_MAC, NK_UNKNOWN, NK_LENGTH
};

/* Write the NK_MAC_SIZE bytes of a frame's code: HMAC-SHA-256 over nonce and body, cut short; 0 for a link
 * without a shared key. */
typedef void (*nk_mac)(void *key, const uint8_t *body, size_t size, uint8_t *code);

/* Return a message's row, or 0. */
const struct nk_layout *nk_layout_of(unsigned message);
/* Return the value that stands for 'not available' in a field of this code. */
int64_t nk_none(char code);
uint16_t nk_crc16(const uint8_t *data, size_t size);
/* Stuff; return the bytes written, without delimiter: at most size + size / 254 + 1. */
size_t nk_stuff(const uint8_t *data, size_t size, uint8_t *out);
/* Open a block without delimiter; return the bytes written, never more than size, or SIZE_MAX. */
size_t nk_unstuff(const uint8_t *data, size_t size, uint8_t *out);
/* Write one frame with its delimiter into out[NK_FRAME_MAX + 1]; return its size, 0 when a value is out of
 * its field's range, the tail too long or the message unknown. */
size_t nk_build(const struct nk_frame *frame, nk_mac mac, void *key, uint8_t *out);
/* Open one block without its delimiter. */
enum nk_result nk_parse(const uint8_t *block, size_t size, nk_mac mac, void *key, struct nk_frame *frame);
/* Take one byte from the line; NK_WAIT until a block is whole. */
enum nk_result nk_receive(struct nk_receiver *receiver, uint8_t byte, nk_mac mac, void *key,
                          struct nk_frame *frame);

#endif
