/* What the teaching programs share: the clock of timer 1, the count of pulses, sleep between interrupts and for ever at the end.
   With SLOW the timer's clock is 8 times slower, so that no pulse can be late: it shows what a program wants. */
#define F_CPU 16000000UL
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#ifdef SLOW
#define TIMER_CLOCK (1 << CS11 | 1 << CS10)
#else
#define TIMER_CLOCK (1 << CS11)
#endif

volatile uint32_t position;
static volatile uint8_t ended;

/* SEI takes effect after SLEEP, so no edge is missed. */
static inline void sleep_until_ended(void)
{
    set_sleep_mode(SLEEP_MODE_IDLE);
    cli();
    while (!ended) {
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
        cli();
    }
}

static inline void end(void)
{
    cli();
    for (;;) {
        sleep_enable();
        sleep_cpu();
    }
}
