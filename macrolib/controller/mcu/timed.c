/* Teaching programs: a ramp from rest to a steady speed, each interval computed in the interrupt in one of several ways.
   METHOD 0: even speed, nothing computed. 1: the recurrence c -= (2 c + rest) / (4 n + 1) in whole ticks, remainder carried.
   2: floats, the time of each pulse from a square root. ACCELERATION in pulses/s^2, SPEED in pulses/s, COUNT pulses.
   With DISPLAY the main loop does not sleep but writes to a character display without a pause. */
#define F_CPU 16000000UL
#include <math.h>
#include <stdint.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#define TIMER 2000000.0
#ifdef DISPLAY
#include "display.h"
#endif

volatile uint32_t position;
static volatile uint8_t running = 1;
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
    if (!--left) running = 0;
#else
    if (++position == COUNT) running = 0;
    next();
#endif
    PORTD &= ~(1 << 2);
}

int main(void)
{
    DDRD = 1 << 2;
    next();
    OCR1A = 2000;
    TCCR1B = 1 << CS11;
    TIMSK1 = 1 << OCIE1A;
    set_sleep_mode(SLEEP_MODE_IDLE);
#ifdef DISPLAY
    DDRB = 0x3F;
    sei();
    while (running) show(position, position / 3200.0);
#endif
    cli();
    while (running) {
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
        cli();
    }
    for (;;) {
        sleep_enable();
        sleep_cpu();
    }
}
