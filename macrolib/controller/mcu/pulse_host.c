/* Prints each interval of a move in timer ticks: pulse_host SEGMENT [ABORT], with an abort after that many intervals. */
#include <stdio.h>
#include <stdlib.h>
#include "pieces_core.h"

int main(int count, char **given)
{
    int number = count > 1 ? atoi(given[1]) : 0;
    long abort_after = count > 2 ? atol(given[2]) : -1, sent = 0;
    move_start((uint8_t)number);
    while (move_next()) {
        printf("%lu\n", ticks + 0x8000UL * slices);
        if (++sent == abort_after) move_abort((uint8_t)number);
    }
    return 0;
}
