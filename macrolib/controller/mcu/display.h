/* A character display that takes half bytes on port B: 0 to 3 data, 4 strobe, 5 text (1) or command (0). It needs 40 us
   for a character; who waits for it, waits. */
#include <stdlib.h>
#include <util/delay.h>

static void half(uint8_t byte)
{
    PORTB = byte | 1 << 4;
    _delay_us(1);
    PORTB = byte;
    _delay_us(1);
}

static void character(uint8_t byte, uint8_t text)
{
    half(byte >> 4 | text << 5);
    half((byte & 15) | text << 5);
    _delay_us(40);
}

static void line(uint8_t place, const char *text)
{
    character(0x80 | place, 0);
    while (*text) character(*text++, 1);
}

static void show(uint32_t count, float millimetres)
{
    char text[16];
    line(0, dtostrf(millimetres, 8, 3, text));
    line(0x40, ultoa(count, text, 10));
}
