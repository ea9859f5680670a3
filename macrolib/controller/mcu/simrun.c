/* Runs a program in the library libsimavr and prints what happens, one event a line of four whole numbers:
       0 pin level cycle      an output changed: pins 0 to 7 of port D, 8 to 15 of port B
       1 0 entry exit         an interrupt routine ran, in cycles
       2 stack value state    at the end: bytes of the stack that were used, four bytes of memory, the library's state
       3 0 0 cycle            the cycle at the end
   simrun PROGRAM MOST_CYCLES VECTOR ADDRESS FIXES [PULSE,BIT,LEVEL,CYCLES ...]: CYCLES after edge PULSE of D2 input BIT of
   port C changes; after edge 0 means from the beginning.

   Two faults of version 1.6 are put right, each by a bit of FIXES so that a test can leave it out. Bit 0: the library
   takes no time to enter an interrupt; the chip takes 4 cycles (ATmega328P data sheet 8271H, section 7.7.1).
   Bit 1: a sleeping program is simulated in real time, and up to a cycle late; time is skipped instead. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_interrupts.h>

static avr_t *avr;
static avr_cycle_count_t entry;
static int fixes, events;
static unsigned long pulses, when[64], bit[64], level[64], later[64];

/* Asleep, the library goes on by the cycles that it would have slept and 1 more, so an event can be seen a cycle late.
   Here it goes to the next event and no further. */
static void no_wait(avr_t *a, avr_cycle_count_t cycles)
{
    avr_cycle_timer_slot_p next = a->cycle_timers.timer;
    if (next && next->when > a->cycle) a->cycle = next->when - 1 - cycles;
}

static void routine(avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq; (void)unused;
    if (value) {
        entry = avr->cycle;
        if (fixes & 1) avr->cycle += 4;
    } else /* called before the cycles of RETI are counted: 4 */
        printf("1 0 %llu %llu\n", (unsigned long long)entry, (unsigned long long)avr->cycle + 4);
}

/* The switches are stronger than the pull-ups of the pins: told to the library twice, for now and for every later change. */
static void input(unsigned long pin, unsigned long high)
{
    static avr_ioport_external_t outside = {.name = 'C', .mask = 0x0F, .value = 0};
    outside.value = (outside.value & ~(1UL << pin)) | high << pin;
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('C'), &outside);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), pin), high);
}

static avr_cycle_count_t change(avr_t *a, avr_cycle_count_t cycle, void *number)
{
    (void)a; (void)cycle;
    input(bit[(intptr_t)number], level[(intptr_t)number]);
    return 0; /* once */
}

static void inputs(void)
{
    for (intptr_t i = 0; i < events; i++) {
        if (when[i] != pulses) continue;
        if (later[i]) avr_cycle_timer_register(avr, later[i], change, (void *)i);
        else change(avr, 0, (void *)i);
    }
}

static void output(avr_irq_t *irq, uint32_t value, void *first)
{
    int pin = irq->irq + (int)(intptr_t)first;
    printf("0 %d %u %llu\n", pin, value, (unsigned long long)avr->cycle);
    if (pin == 2 && value) {
        pulses++;
        inputs();
    }
}

/* What the library itself has to say would go between the numbers. */
static void silent(avr_t *a, const int kind, const char *text, va_list values)
{
    (void)a; (void)kind; (void)text; (void)values;
}

int main(int count, char **given)
{
    elf_firmware_t program;
    avr_global_logger_set(silent);
    memset(&program, 0, sizeof program);
    if (count < 6 || elf_read_firmware(given[1], &program)) return 2;
    avr_cycle_count_t most = strtoull(given[2], 0, 0);
    unsigned long address = strtoul(given[4], 0, 0);
    fixes = atoi(given[5]);
    for (int i = 6; i < count && events < 64; i++)
        events += sscanf(given[i], "%lu,%lu,%lu,%lu", when + events, bit + events, level + events, later + events) == 4;
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr) return 3;
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr->frequency = 16000000;
    avr_load_firmware(avr, &program);
    if (fixes & 2) avr->sleep = no_wait;
    for (int i = 0; i < 2; i++) /* D2 and D3 are outputs here; as inputs for interrupts they would be asked every cycle */
        avr_extint_set_strict_lvl_trig(avr, i, 0);
    for (int i = 0; i < 8; i++) {
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), i), output, (void *)0);
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), i), output, (void *)8);
    }
    for (int i = 0; i < 4; i++) /* all switches closed */
        input(i, 0);
    inputs();
    avr_irq_register_notify(avr_get_interrupt_irq(avr, atoi(given[3])) + AVR_INT_IRQ_RUNNING, routine, 0);
    int state = cpu_Running;
    while (state != cpu_Done && state != cpu_Crashed && avr->cycle < most) state = avr_run(avr);
    int stack = 0; /* memory is zero at first; what was used goes down from the end, with few zeros in it */
    for (int i = 0, zeros = 0; zeros < 16 && i < 2048; i++) {
        zeros = avr->data[avr->ramend - i] ? 0 : zeros + 1;
        if (!zeros) stack = i + 1;
    }
    int value = (int)(avr->data[address] | avr->data[address + 1] << 8 | avr->data[address + 2] << 16
                      | (unsigned)avr->data[address + 3] << 24);
    printf("2 %d %d %d\n3 0 0 %llu\n", stack, value, state, (unsigned long long)avr->cycle);
    return state == cpu_Crashed;
}
