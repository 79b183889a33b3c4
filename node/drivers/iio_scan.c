/* Bits of a record.
 * Must never read beyond the record. Called by iio_buffer.c. */
#include "node/drivers/iio_scan.h"

#include <stdio.h>

int iio_scan_parse(const char *text, struct iio_scan_part *part, struct error *error)
{
    char order, sign;
    unsigned bits, places, shift;
    if (sscanf(text, "%ce:%c%u/%u>>%u", &order, &sign, &bits, &places, &shift) != 5 ||
        (order != 'l' && order != 'b') || (sign != 's' && sign != 'u') ||
        (places != 8 && places != 16 && places != 32 && places != 64) || bits < 1 ||
        bits + shift > places) {
        return error_set(error, ERROR_STATE, "\"%.40s\" is no layout of a sample", text);
    }
    part->big_endian = order == 'b';
    part->is_signed = sign == 's';
    part->bits = bits;
    part->bytes = places / 8;
    part->shift = shift;
    return 0;
}

void iio_scan_lay_out(struct iio_scan *scan)
{
    size_t end = 0;
    size_t largest = 1;
    for (unsigned next = 0, done = 0; done < scan->count; next++) {
        for (size_t i = 0; i < scan->count; i++) {
            struct iio_scan_part *part = &scan->parts[i];
            if (part->index == next) {
                part->at = (end + part->bytes - 1) / part->bytes * part->bytes;
                end = part->at + part->bytes;
                largest = part->bytes > largest ? part->bytes : largest;
                done++;
            }
        }
    }
    scan->size = (end + largest - 1) / largest * largest;
}

int64_t iio_scan_value(const struct iio_scan_part *part, const uint8_t *record)
{
    uint64_t value = 0;
    for (unsigned i = 0; i < part->bytes; i++) {
        unsigned place = part->big_endian ? i : part->bytes - 1 - i;
        value = value << 8 | record[part->at + place];
    }
    value >>= part->shift;
    if (part->bits < 64) {
        uint64_t sign = UINT64_C(1) << (part->bits - 1);
        value &= (sign << 1) - 1;
        if (part->is_signed && (value & sign)) {
            value |= ~((sign << 1) - 1);
        }
    }
    return (int64_t)value;
}
