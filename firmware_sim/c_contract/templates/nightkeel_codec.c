/* Frames of the module's link: COBS, delimiter 0x00, CRC-16/CCITT-FALSE, messages by table. C99, no heap.
 * Byte by byte as hardware_notes/wire_format.md says. SPDX-License-Identifier: Apache-2.0
 */
#include <string.h>

#include "nightkeel_contract.h"

static uint32_t get(const uint8_t *at, unsigned size)
{
    uint32_t value = 0;
    while (size--)
        value = value << 8 | at[size];
    return value;
}

static void put(uint8_t *at, unsigned size, uint32_t value)
{
    for (unsigned i = 0; i < size; i++, value >>= 8)
        at[i] = (uint8_t)value;
}

static unsigned size_of(char code)
{
    return code == 'B' ? 1 : code == 'H' || code == 'h' ? 2 : 4;
}

static int64_t from_wire(char code, uint32_t raw)
{
    if (code == 'h')
        return raw < 0x8000 ? (int64_t)raw : (int64_t)raw - 0x10000;
    if (code == 'i')
        return raw < 0x80000000u ? (int64_t)raw : (int64_t)raw - 0x100000000;
    return raw;
}

static int fits(char code, int64_t value)
{
    int64_t span = (int64_t)1 << 8 * size_of(code);
    if (code == 'h' || code == 'i')
        return value >= -span / 2 && value < span / 2;
    return value >= 0 && value < span;
}

int64_t nk_none(char code)
{
    return code == 'B' ? 0xFF : code == 'H' ? 0xFFFF : code == 'I' ? 0xFFFFFFFF
        : code == 'h' ? -0x8000 : -(int64_t)0x80000000;
}

const struct nk_layout *nk_layout_of(unsigned message)
{
    for (unsigned i = 0; i < NK_MESSAGE_COUNT; i++)
        if (nk_layouts[i].message == message)
            return &nk_layouts[i];
    return 0;
}

uint16_t nk_crc16(const uint8_t *data, size_t size)
{
    uint16_t crc = 0xFFFF;
    for (size_t i = 0; i < size; i++) {
        crc ^= (uint16_t)(data[i] << 8);
        for (int bit = 0; bit < 8; bit++)
            crc = (uint16_t)(crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1);
    }
    return crc;
}

size_t nk_stuff(const uint8_t *data, size_t size, uint8_t *out)
{
    size_t code = 0, to = 1;
    for (size_t i = 0; i < size; i++) {
        if (data[i])
            out[to++] = data[i];
        if (data[i] == 0 || (to - code == 255 && i + 1 < size)) {
            out[code] = (uint8_t)(to - code);
            code = to++;
        }
    }
    out[code] = (uint8_t)(to - code);
    return to;
}

size_t nk_unstuff(const uint8_t *data, size_t size, uint8_t *out)
{
    size_t from = 0, to = 0;
    while (from < size) {
        size_t code = data[from];
        if (code == 0 || from + code > size)
            return SIZE_MAX;
        for (size_t i = 1; i < code; i++)
            if ((out[to++] = data[from + i]) == 0)
                return SIZE_MAX;
        from += code;
        if (code != 255 && from < size)
            out[to++] = 0;
    }
    return to;
}

size_t nk_build(const struct nk_frame *frame, nk_mac mac, void *key, uint8_t *out)
{
    const struct nk_layout *layout = nk_layout_of(frame->message);
    uint8_t body[NK_BODY_MAX];
    size_t at = NK_HEADER_SIZE, width;
    if (!layout)
        return 0;
    body[0] = (uint8_t)(frame->message | (mac ? NK_MAC_BIT : 0));
    put(body + 1, 4, frame->seq);
    put(body + 5, 4, frame->tick);
    for (const char *code = layout->codes; *code; code++) {
        int64_t value = frame->values[code - layout->codes];
        if (!fits(*code, value))
            return 0;
        put(body + at, size_of(*code), (uint32_t)value);
        at += size_of(*code);
    }
    width = layout->tail ? size_of(layout->tail) : 1;
    if (frame->tail_count > (layout->tail ? (NK_HEADER_SIZE + NK_PAYLOAD_MAX - at) / width : 0))
        return 0;
    for (size_t i = 0; i < frame->tail_count; i++, at += width) {
        if (!fits(layout->tail, frame->tail[i]))
            return 0;
        put(body + at, (unsigned)width, (uint32_t)frame->tail[i]);
    }
    if (mac) {
        mac(key, body, at, body + at);
        at += NK_MAC_SIZE;
    }
    put(body + at, 2, nk_crc16(body, at));
    at = nk_stuff(body, at + 2, out);
    out[at++] = 0;
    return at;
}

static enum nk_result read_payload(struct nk_frame *frame, const uint8_t *payload, size_t size)
{
    const struct nk_layout *layout = nk_layout_of(frame->message);
    size_t at = 0, width;
    if (!layout)
        return NK_UNKNOWN;
    for (const char *code = layout->codes; *code; code++) {
        width = size_of(*code);
        if (at + width > size)
            return NK_LENGTH;
        frame->values[code - layout->codes] = from_wire(*code, get(payload + at, (unsigned)width));
        at += width;
    }
    width = layout->tail ? size_of(layout->tail) : 1;
    if ((at < size && !layout->tail) || (size - at) % width)
        return NK_LENGTH;
    for (frame->tail_count = 0; at < size; at += width)
        frame->tail[frame->tail_count++] = (int32_t)from_wire(layout->tail, get(payload + at, (unsigned)width));
    return NK_OK;
}

enum nk_result nk_parse(const uint8_t *block, size_t size, nk_mac mac, void *key, struct nk_frame *frame)
{
    uint8_t body[NK_FRAME_MAX], code[NK_MAC_SIZE], differ = 0;
    size_t length = size > NK_FRAME_MAX ? SIZE_MAX : nk_unstuff(block, size, body);
    if (length == SIZE_MAX)
        return NK_STUFFING;
    if (length < NK_HEADER_SIZE + 2)
        return NK_SHORT;
    length -= 2;
    if (nk_crc16(body, length) != get(body + length, 2))
        return NK_CRC;
    if (body[0] & NK_MAC_BIT) {
        if (length < NK_HEADER_SIZE + NK_MAC_SIZE)
            return NK_SHORT;
        length -= NK_MAC_SIZE;
        if (mac)
            mac(key, body, length, code);
        for (size_t i = 0; mac && i < NK_MAC_SIZE; i++)
            differ |= (uint8_t)(code[i] ^ body[length + i]);
    } else if (mac) {
        return NK_MAC;
    }
    if (differ)
        return NK_MAC;
    frame->message = body[0] & (uint8_t)~NK_MAC_BIT;
    frame->seq = get(body + 1, 4);
    frame->tick = get(body + 5, 4);
    frame->tail_count = 0;
    return length - NK_HEADER_SIZE > NK_PAYLOAD_MAX ? NK_LENGTH
        : read_payload(frame, body + NK_HEADER_SIZE, length - NK_HEADER_SIZE);
}

enum nk_result nk_receive(struct nk_receiver *receiver, uint8_t byte, nk_mac mac, void *key,
                          struct nk_frame *frame)
{
    size_t size = receiver->size;
    if (byte) {
        if (size < NK_FRAME_MAX)
            receiver->block[size] = byte;
        receiver->size = size < NK_FRAME_MAX + 1 ? size + 1 : size;
        return NK_WAIT;
    }
    receiver->size = 0;
    return size ? nk_parse(receiver->block, size, mac, key, frame) : NK_WAIT;
}
