/* The next interval of a move, by additions only; the same on a small controller and on a computer.

   A move is a list of pieces. In a piece each interval is the one before less `dc`; both count in 1/65536 of a timer
   tick and wrap modulo 2^32, so that a growing interval has a large `dc`. The fraction of a tick is carried on: nothing
   is lost. Where an interval has more than 16 bits, `slices` turns of 0x8000 ticks follow the part that is left. */
#ifndef PIECES_CORE_H
#define PIECES_CORE_H
#include <stdint.h>
#ifdef __AVR__
#include <avr/pgmspace.h>
#define READ16(x) pgm_read_word(&(x))
#define READ32(x) pgm_read_dword(&(x))
#define READ8(x) pgm_read_byte(&(x))
#else
#define PROGMEM
#define READ16(x) (x)
#define READ32(x) (x)
#define READ8(x) (x)
#endif
#include "move.h"

struct piece { uint16_t n; uint8_t slices; uint32_t c0, c1, dc; }; /* c0 first, c1 last interval */
struct segment { uint16_t first, cruise, out, end; int8_t way; }; /* piece numbers; end is one past the last */
static const struct piece PIECES[] PROGMEM = { MV_PIECE_LIST };
static const struct segment SEGMENTS[] PROGMEM = { MV_SEGMENT_LIST };

static const struct piece *at, *stop, *cruise, *out; /* the piece in hand, the last one to run, where ramps end and begin */
static uint32_t c, dc;
static uint16_t left, fraction, ticks; /* intervals left in the piece; `ticks` and `slices` are the result */
static uint8_t slices, back;

/* Inline: a call from an interrupt routine would save all registers that the called one might use. */
static inline __attribute__((always_inline)) void load(void)
{
    left = READ16(at->n);
    slices = READ8(at->slices);
    dc = READ32(at->dc);
    if (back) { /* from its last interval to its first */
        c = READ32(at->c1);
        dc = -dc;
    } else
        c = READ32(at->c0);
}

static void move_start(uint8_t number)
{
    const struct segment *s = &SEGMENTS[number];
    at = PIECES + READ16(s->first);
    cruise = PIECES + READ16(s->cruise);
    out = PIECES + READ16(s->out);
    stop = PIECES + READ16(s->end) - 1;
    fraction = back = 0;
    load();
    c += dc; /* the first call takes it off again */
}

/* 1: ticks and slices hold the next interval; 0: the move is over. */
static inline __attribute__((always_inline)) uint8_t move_next(void)
{
    if (left == 0) {
        if (at == stop) return 0;
        if (back) at--; else at++;
        load();
    } else
        c -= dc;
    left--;
    uint32_t sum = c + fraction;
    ticks = sum >> 16;
    fraction = sum;
    return 1;
}

/* Stop early along a ramp: in the ramp in its pieces run backwards, the first interval (from standstill) left out; in the
   cruise the ramp out begins; in the ramp out nothing changes. So it takes no more pulses than a ramp has. */
static void move_abort(uint8_t number)
{
    const struct piece *first = PIECES + READ16(SEGMENTS[number].first);
    if (back || at >= out) return;
    if (at >= cruise) {
        at = out - 1;
        left = 0;
    } else if (at == first) {
        stop = at;
        left = 0;
    } else {
        back = 1;
        stop = first + 1;
        left = READ16(at->n) - left - 1; /* those already sent, less the one in hand */
        dc = -dc;
    }
}
#endif
