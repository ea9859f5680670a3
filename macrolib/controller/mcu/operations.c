/* Cycles of single operations: pin B0 is high while one runs. Operands come from RAM, results go there. */
#include "teaching.h"

volatile uint16_t a16 = 50001, b16 = 77, r16;
volatile uint32_t a32 = 3000000123UL, b32 = 40961, r32;
volatile float af = 12345.678f, bf = 3.14159f, rf;
char text[16];
#define TIME(operation) PORTB |= 1; operation; PORTB &= ~1

int main(void)
{
    DDRB = 1;
    TIME((void)0);
    TIME(r32 = a32 + b32);
    TIME(r32 = a32 * b32);
    TIME(r16 = a16 / b16);
    TIME(r32 = a32 / b32);
    TIME(rf = af + bf);
    TIME(rf = af * bf);
    TIME(rf = af / bf);
    TIME(rf = sqrt(af));
    TIME(rf = sin(bf));
    TIME(dtostrf(af, 8, 3, text));
    end();
}
