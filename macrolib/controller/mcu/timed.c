/* Teaching programs: a ramp from rest to a steady speed, each interval computed in the interrupt in one of several ways.
   METHOD 0: even speed, nothing computed. 1: the recurrence c -= (2 c + rest) / (4 n + 1) in whole ticks, remainder carried.
   2: floats, the time of each pulse from a square root. ACCELERATION in pulses/s^2, SPEED in pulses/s, COUNT pulses.
   With DISPLAY the main loop does not sleep but writes to a character display without a pause. */
#include "teaching.h"
#define TIMER 2000000.0
#ifdef DISPLAY
#include "display.h"
#endif

static uint16_t ticks = 20000;

#if METHOD == 1
static uint32_t c = FIRST, n = 1, rest;
static inline void next(void)
{
    if (c > (uint32_t)(TIMER / SPEED)) {
        uint32_t top = 2 * c + rest, low = 4 * n + 1, part = top / low;
        rest = top - part * low;
        c -= part;
        n++;
    }
    ticks = c; /* the first intervals of the ramps used here fit 16 bits */
}
#elif METHOD == 2
static float before;
static uint32_t n = 1;
static inline void next(void)
{
    if (ticks > (uint16_t)(TIMER / SPEED)) {
        float time = TIMER * sqrt(2.0 * n / ACCELERATION);
        ticks = time - before;
        before = time;
        n++;
    }
}
#else
static inline void next(void) { ticks = TIMER / SPEED; }
#endif

ISR(TIMER1_COMPA_vect)
{
    PORTD |= 1 << 2;
    OCR1A += ticks;
#if METHOD == 0
    static uint16_t left = COUNT;
    if (!--left) ended = 1;
#else
    if (++position == COUNT) ended = 1;
    next();
#endif
    PORTD &= ~(1 << 2);
}

int main(void)
{
    DDRD = 1 << 2;
    next();
    OCR1A = 2000;
    TCCR1B = TIMER_CLOCK;
    TIMSK1 = 1 << OCIE1A;
#ifdef DISPLAY
    DDRB = 0x3F;
    sei();
    while (!ended) show(position, position / 3200.0);
#endif
    sleep_until_ended();
    end();
}
