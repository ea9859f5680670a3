/* Pulses of a plan on an 8-bit controller at 16 MHz (ATmega328P). Timer 1 runs free; each compare match is an interrupt
   that makes the edge first, sets the time of the next one, and then computes the interval after it.

   Port D, outputs: 2 step, 3 direction, 4 enable (low: on), 5 shutter.
   Port C, inputs with pull-up: 0 home, 1 end, 2 go, 3 stop. Each switch is closed to ground while all is well and opens
   to say something, so a broken wire stops the rail. Go must be seen open, then closed, before anything moves: nothing starts
   by itself when power returns. Opened later it pauses a stack before its next frame. */
#define F_CPU 16000000UL
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/delay.h>
#include "pieces_core.h"

enum { STEP = 1 << 2, DIRECTION = 1 << 3, ENABLE = 1 << 4, SHUTTER = 1 << 5 };
enum { HOME = 1 << 0, END = 1 << 1, GO = 1 << 2, STOP = 1 << 3 };

volatile int32_t position; /* pulses from home, or from where the program began; brought up to date after each move */
volatile uint16_t frame;
static uint32_t sent; /* pulses of this move */
static volatile uint8_t running;
static uint8_t waiting, more;
static int8_t way;

ISR(TIMER1_COMPA_vect)
{
    if (waiting) { /* a long interval: one more slice, no edge */
        waiting--;
        OCR1A += 0x8000;
        return;
    }
    PORTD |= STEP;
    sent++;
    if (!more) {
        TIMSK1 = 0;
        running = 0;
        _delay_us(3);
        PORTD &= ~STEP;
        return;
    }
    OCR1A += ticks;
    waiting = slices;
    more = move_next();
    PORTD &= ~STEP;
}

static void direct(int8_t new_way)
{
    way = new_way;
    if (way > 0) PORTD |= DIRECTION; else PORTD &= ~DIRECTION;
    _delay_us(MV_DIRECTION_US);
}

/* Run one segment; 0 when it was stopped before its end. A switch that opens is seen after the next edge; the two pulses
   that are computed already still come, and then those of the ramp. */
static uint8_t run(uint8_t number)
{
    uint8_t watched, stopped = 0;
    direct(READ8(SEGMENTS[number].way));
    watched = STOP | (way > 0 ? END : HOME);
    if (PINC & watched) return 0;
    move_start(number);
    more = move_next();
    sent = 0;
    running = 1;
    waiting = slices;
    OCR1A = TCNT1 + ticks;
    more = move_next();
    TIFR1 = 1 << OCF1A;
    TIMSK1 = 1 << OCIE1A;
    cli();
    while (running) { /* asleep between pulses; SEI takes effect after SLEEP, so no edge is missed */
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
        cli();
        if (!stopped && (PINC & watched)) {
            move_abort(number);
            stopped = 1;
        }
    }
    sei();
    position += way > 0 ? (int32_t)sent : -(int32_t)sent;
    return !stopped;
}

/* These return 0 when the stop switch opens meanwhile. */
static uint8_t wait_ms(uint32_t time)
{
    for (; time; time--) {
        if (PINC & STOP) return 0;
        _delay_ms(1);
    }
    return !(PINC & STOP);
}

static uint8_t wait_for_open(void)
{
    uint8_t open = 0;
    while (open < 20) { /* ms in a row: a contact that bounces is not yet open */
        if (!wait_ms(1)) return 0;
        open = PINC & GO ? open + 1 : 0;
    }
    return 1;
}

static uint8_t wait_for_go(void)
{
    while (PINC & GO)
        if (!wait_ms(1)) return 0;
    return wait_ms(0);
}

/* Creep towards the home switch, slow enough to start and stop at once; there the count begins. */
static uint8_t home(void)
{
    uint32_t most = MV_HOME_PULSES;
    if (!most) return 1;
    direct(-1);
    for (; !(PINC & HOME); most--) {
        if (!most || (PINC & STOP)) return 0;
        PORTD |= STEP;
        _delay_us(3);
        PORTD &= ~STEP;
        _delay_us(MV_CREEP_US);
    }
    position = 0;
    return 1;
}

static uint8_t expose(void)
{
    uint8_t good;
    if (!MV_SHUTTER_MS) return 1;
    if (!wait_ms(MV_SETTLE_MS)) return 0;
    PORTD |= SHUTTER;
    good = wait_ms(MV_SHUTTER_MS);
    PORTD &= ~SHUTTER;
    return good && wait_ms(MV_AFTER_MS);
}

static uint8_t work(void)
{
    uint8_t segment;
    if (!wait_for_open() || !wait_for_go()) return 0;
    PORTD &= ~ENABLE;
    if (!wait_ms(MV_ENABLE_MS) || !home()) return 0;
    for (segment = 0; segment < MV_SEGMENTS - 1; segment++)
        if (!run(segment)) return 0;
    if (!wait_ms(MV_FIRST_WAIT_MS)) return 0;
    if (!MV_FRAMES) return run(segment);
    for (frame = 1;; frame++) { /* frames before the first one wanted are only passed */
        if (frame >= MV_FIRST_FRAME && !(wait_for_go() && expose())) return 0;
        if (frame == MV_FRAMES) return 1;
        if (!run(segment)) return 0;
    }
}

int main(void)
{
    PORTD = ENABLE; /* off, before the pins become outputs */
    DDRD = STEP | DIRECTION | ENABLE | SHUTTER;
    PORTC = HOME | END | GO | STOP;
    TCCR1B = MV_PRESCALE == 1 ? 1 << CS10 : 1 << CS11;
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    work();
    PORTD = MV_HOLD ? 0 : ENABLE;
    cli();
    sleep_enable();
    for (;;) sleep_cpu();
}
