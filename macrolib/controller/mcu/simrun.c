/* Runs a program in the library libsimavr and prints what happens, one event a line:
       P port bit level cycle      an output changed
       I entry exit                an interrupt routine ran, in cycles
       M value                     four bytes of memory at the end
   simrun PROGRAM MOST_CYCLES VECTOR ADDRESS FIXES [PULSE,BIT,LEVEL ...]: input BIT of port C changes at PULSE edges of D2.

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
static unsigned long pulses, when[64], bit[64], level[64];

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
        printf("I %llu %llu\n", (unsigned long long)entry, (unsigned long long)avr->cycle + 4);
}

/* The switches are stronger than the pull-ups of the pins: told to the library twice, for now and for every later change. */
static void input(unsigned long pin, unsigned long high)
{
    static avr_ioport_external_t outside = {.name = 'C', .mask = 0x0F, .value = 0};
    outside.value = (outside.value & ~(1UL << pin)) | high << pin;
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('C'), &outside);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), pin), high);
}

static void inputs(void)
{
    for (int i = 0; i < events; i++)
        if (when[i] == pulses) input(bit[i], level[i]);
}

static void output(avr_irq_t *irq, uint32_t value, void *port)
{
    printf("P %s %d %u %llu\n", (char *)port, irq->irq, value, (unsigned long long)avr->cycle);
    if (*(char *)port == 'D' && irq->irq == 2 && value) {
        pulses++;
        inputs();
    }
}

int main(int count, char **given)
{
    elf_firmware_t program;
    memset(&program, 0, sizeof program);
    if (count < 6 || elf_read_firmware(given[1], &program)) return 2;
    avr_cycle_count_t most = strtoull(given[2], 0, 0);
    unsigned long address = strtoul(given[4], 0, 0);
    fixes = atoi(given[5]);
    for (int i = 6; i < count && events < 64; i++)
        events += sscanf(given[i], "%lu,%lu,%lu", when + events, bit + events, level + events) == 3;
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
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), i), output, "D");
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), i), output, "B");
    }
    for (int i = 0; i < 4; i++) /* all switches closed */
        input(i, 0);
    inputs();
    avr_irq_register_notify(avr_get_interrupt_irq(avr, atoi(given[3])) + AVR_INT_IRQ_RUNNING, routine, 0);
    int state = cpu_Running;
    while (state != cpu_Done && state != cpu_Crashed && avr->cycle < most) state = avr_run(avr);
    printf("M %d\n", (int)(avr->data[address] | avr->data[address + 1] << 8 | avr->data[address + 2] << 16
                           | (unsigned)avr->data[address + 3] << 24));
    printf("S %d %llu\n", state, (unsigned long long)avr->cycle);
    return state == cpu_Crashed;
}
