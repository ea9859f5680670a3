/* Teaching program: phase accumulation. At every tick of a fixed clock the speed is added to a phase; a carry is a pulse.
   TICKS: clock cycles between two interrupts. The work is the same with and without a pulse. */
#include "teaching.h"
#ifndef TICKS
#define TICKS 400
#endif
#define RATE (16000000.0 / TICKS)

static uint32_t phase, speed;
static const uint32_t most = SPEED / RATE * 4294967295.0;
static const uint32_t gain = ACCELERATION / RATE / RATE * 4294967295.0; /* change of speed in one tick */

ISR(TIMER1_COMPA_vect)
{
    uint32_t old = phase;
    phase += speed;
    if (phase < old) {
        PORTD |= 1 << 2;
        if (++position == COUNT) ended = 1;
    }
    if (speed < most) speed += gain;
    PORTD &= ~(1 << 2);
}

int main(void)
{
    DDRD = 1 << 2;
    OCR1A = TICKS - 1;
    TCCR1B = 1 << WGM12 | 1 << CS10;
    TIMSK1 = 1 << OCIE1A;
    sleep_until_ended();
    end();
}
