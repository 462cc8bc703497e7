/* Two things that a chip does and this emulator does not. One that does is not harmed. */

#ifndef MEND_H
#define MEND_H

#include "avr_timer.h"
#include "sim_avr.h"

enum { /* addresses in data memory */
    FIRST_TIMER_FLAGS = 0x35,
    LAST_TIMER_FLAGS = 0x37,
    CAPTURED = 0x86,
};

static avr_io_write_t emulator_write_flags;
static uint8_t kept_high;

/* Writing a one to a timer's flag clears that flag. This emulator clears all flags of the timer,
 * and an overflow that waits would be lost, as on no chip: put back what was not written. */
static void write_flags(avr_t *board, avr_io_addr_t address, uint8_t value, void *argument)
{
    avr_timer_t *timer = argument;
    avr_int_vector_t *vectors[] = {&timer->overflow, &timer->icr, &timer->comp[0].interrupt,
                                   &timer->comp[1].interrupt, &timer->comp[2].interrupt};
    enum { COUNT = sizeof vectors / sizeof *vectors };
    int kept[COUNT];
    for (int i = 0; i < COUNT; i++) {
        avr_regbit_t flag = vectors[i]->raised;
        kept[i] = flag.reg && avr_regbit_get(board, flag) && !(value >> flag.bit & 1);
    }
    emulator_write_flags(board, address, value, timer);
    for (int i = 0; i < COUNT; i++)
        if (kept[i])
            avr_raise_interrupt(board, vectors[i]);
}

/* A chip keeps the high byte of a captured time while its low byte is read. This emulator does not,
 * and an edge between the two reads would mix two times. */
static uint8_t read_low(avr_t *board, avr_io_addr_t address, void *unused)
{
    (void)unused;
    kept_high = board->data[address + 1];
    return board->data[address];
}

static uint8_t read_high(avr_t *board, avr_io_addr_t address, void *unused)
{
    (void)board, (void)address, (void)unused;
    return kept_high;
}

static void mend(avr_t *avr)
{
    for (int address = FIRST_TIMER_FLAGS; address <= LAST_TIMER_FLAGS; address++) {
        emulator_write_flags = avr->io[AVR_DATA_TO_IO(address)].w.c;
        avr->io[AVR_DATA_TO_IO(address)].w.c = write_flags;
    }
    avr_register_io_read(avr, CAPTURED, read_low, NULL);
    avr_register_io_read(avr, CAPTURED + 1, read_high, NULL);
}

#endif
