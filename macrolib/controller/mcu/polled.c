/* Teaching program: a loop asks the clock over and over and makes a pulse when one is due; times are floats.
   EXTRA 0: nothing else. 1: the position in mm as well. 2: and both on a character display ten times a second. */
#include "teaching.h"

static volatile uint16_t turns;
volatile float millimetres;

ISR(TIMER1_OVF_vect) { turns++; }

static uint32_t microseconds(void)
{
    uint8_t kept = SREG;
    cli();
    uint16_t low = TCNT1, high = turns;
    if ((TIFR1 & 1 << TOV1) && low < 0x8000) high++; /* the counter has turned over, the interrupt has not come yet */
    SREG = kept;
    return ((uint32_t)high << 16 | low) / 2;
}

#if EXTRA == 2
#include "display.h"
#endif

int main(void)
{
    uint32_t due = 1000, shown = 0;
    DDRD = 1 << 2;
    DDRB = 0x3F;
    TCCR1B = TIMER_CLOCK;
    TIMSK1 = 1 << TOIE1;
    sei();
    while (position < COUNT) {
        uint32_t now = microseconds();
        if ((int32_t)(now - due) >= 0) {
            PORTD |= 1 << 2;
            float speed = sqrt(2.0 * ACCELERATION * ++position);
            due += 1e6 / (speed < SPEED ? speed : SPEED);
#if EXTRA
            millimetres = position / 3200.0;
#endif
            PORTD &= ~(1 << 2);
        }
#if EXTRA == 2
        if (now - shown >= 100000UL) {
            shown = now;
            show(position, millimetres);
        }
#endif
    }
    (void)shown;
    end();
}
