/* The emulated bench: runs a board's program in an emulated microcontroller and drives its pins.
 *
 *     bench PROGRAM.elf CHIP HERTZ MILLIVOLT
 *
 * Reads commands from standard input and writes events to standard output, all of them records of
 * 16 bytes in native byte order. Times are processor cycles since the bench began; they go on over
 * resets. Commands must come in the order of their times. The program knows nothing of the bench:
 * it is the very file that is flashed.
 *
 * Python's side is emulated_board.py in tests/support. For tests only: it links a GPL library.
 */

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "avr_adc.h"
#include "avr_eeprom.h"
#include "avr_ioport.h"
#include "avr_uart.h"
#include "mend.h"
#include "sim_avr.h"
#include "sim_elf.h"

struct record {
    uint64_t cycle;
    uint8_t kind;
    uint8_t where;
    uint16_t which;
    uint32_t value;
};

enum { /* commands */
    PIN = 'p',   /* where: port letter, which: bit, value: level */
    VOLTS = 'v', /* which: ADC channel, value: millivolts */
    BYTE = 'b',  /* value: a byte on the serial line to the board */
    POKE = 'k',  /* which: address in data memory, value: 32 bits to write there */
    DISTURB = 'i', /* which: address of a register, value: what the program finds written there */
    JAM = 'j',   /* the program runs in a circle at its sleep, interrupts still served */
    RESET = 'r', /* where: x external, o brown-out, p power; value: cycles it is held */
    KEEP = 'e',  /* which: address in EEPROM, value: the byte there */
    SHOW = 'd',  /* say what is in the memory: where: e EEPROM, r RAM */
    RUN = 'g',   /* run until then, and say so */
};
enum { /* events */
    SENT = 's',    /* value: a byte from the board */
    PORT = 'o',    /* where: port letter, value: what it drives, which: the pins it drives */
    STARTED = 'w', /* the watchdog started the board again */
    KEPT = 'd',    /* which: address, value: the byte there */
    REACHED = 'g',
};

#define UNTOUCHED(address) ((uint8_t)((address) * 37 + 11))

enum { BROKEN_LOOP = 0xCFFF /* jumps to itself */, SLEEP = 0x9588 }; /* instructions */

static avr_t *avr;
static uint64_t base; /* bench time at the board's cycle 0 */
static int was_reset;
static void (*chip_reset)(avr_t *board);

static struct {
    uint8_t driven, levels;    /* from outside */
    uint8_t output, direction; /* by the board */
} ports[256];
static uint32_t millivolts[8];
static avr_irq_t *analog;
static struct {
    uint32_t at;
    uint16_t was;
    int there;
} jam;

static void quiet(avr_t *board, const int level, const char *format, va_list arguments)
{
    (void)board, (void)level, (void)format, (void)arguments;
}

static void no_sleep(avr_t *board, avr_cycle_count_t cycles)
{
    (void)board, (void)cycles; /* the emulator would wait in real time */
}

static void note_reset(avr_t *board)
{
    was_reset = 1;
    chip_reset(board);
}

static uint64_t now(void)
{
    return base + avr->cycle;
}

static void tell(uint8_t kind, uint8_t where, uint16_t which, uint32_t value)
{
    struct record event = {now(), kind, where, which, value};
    if (fwrite(&event, sizeof event, 1, stdout) != 1)
        exit(3);
}

static void sent(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq, (void)unused;
    tell(SENT, 0, 0, value & 0xFF);
}

static void tell_port(uint8_t name)
{
    tell(PORT, name, ports[name].direction, ports[name].output & ports[name].direction);
}

static void port_written(struct avr_irq_t *irq, uint32_t value, void *letter)
{
    uint8_t name = (uint8_t)(uintptr_t)letter;
    if (irq->irq == avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(name), IOPORT_IRQ_REG_PORT)->irq)
        ports[name].output = (uint8_t)value;
    else
        ports[name].direction = (uint8_t)value;
    tell_port(name);
}

static void drive(uint8_t port, uint8_t bit, int level)
{
    ports[port].driven |= 1 << bit;
    ports[port].levels = (uint8_t)((ports[port].levels & ~(1 << bit)) | (level << bit));
    /* Or each write of the port would set the pin to its pull-up. */
    avr_ioport_external_t held = {
        .name = port, .mask = ports[port].driven, .value = ports[port].levels};
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &held);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), level);
}

/* After a reset: the board drives nothing, the world outside is as it was. */
static void connect_again(void)
{
    for (int port = 'B'; port <= 'D'; port++) {
        ports[port].output = ports[port].direction = 0;
        tell_port(port);
        for (int bit = 0; bit < 8; bit++)
            if (ports[port].driven & (1 << bit)) {
                int level = (ports[port].levels >> bit) & 1;
                drive(port, bit, !level); /* the same level again would pass for no change */
                drive(port, bit, level);
            }
    }
    for (int channel = 0; channel < 8; channel++)
        avr_raise_irq(analog + ADC_IRQ_ADC0 + channel, millivolts[channel]);
    if (jam.there) {
        memcpy(avr->flash + jam.at, &jam.was, 2);
        jam.there = 0;
    }
}

static avr_cycle_count_t stop(avr_t *board, avr_cycle_count_t when, void *unused)
{
    (void)board, (void)unused;
    /* Again and again until it is taken away: if the program falls asleep at this very moment, it
     * must not sleep on to the next of its own timers. */
    return when + 1;
}

static void stop_at(uint64_t until)
{
    avr_cycle_timer_register(avr, until > now() ? until - now() : 1, stop, NULL);
}

static void run_until(uint64_t until)
{
    if (now() >= until)
        return;
    stop_at(until);
    while (now() < until) {
        int state = avr_run(avr);
        if (was_reset) {
            was_reset = 0;
            connect_again();
            tell(STARTED, 0, 0, 0);
            stop_at(until);
        } else if (state == cpu_Crashed || state == cpu_Done) {
            fprintf(stderr, "bench: the program crashed at 0x%x\n", avr->pc);
            exit(2);
        }
    }
    avr_cycle_timer_cancel(avr, stop, NULL);
}

static void reset(const struct record *command)
{
    uint64_t until = command->cycle + command->value;
    avr_reset(avr);
    was_reset = 0;
    base = until - avr->cycle;
    avr_regbit_t flag = avr->reset_flags.extrf;
    if (command->where != 'x') {
        flag = command->where == 'o' ? avr->reset_flags.borf : avr->reset_flags.porf;
        /* Memory without supply holds anything. */
        for (int address = avr->ioend + 1; address <= avr->ramend; address++)
            avr->data[address] = UNTOUCHED(address);
    }
    avr->data[flag.reg] = (uint8_t)(1 << flag.bit);
    connect_again();
}

static void get_stuck(void)
{
    for (uint32_t at = 0; at < avr->codeend; at += 2) {
        uint16_t word;
        memcpy(&word, avr->flash + at, 2);
        if (word == SLEEP) {
            uint16_t loop = BROKEN_LOOP;
            jam.at = at + 2;
            jam.there = 1;
            memcpy(&jam.was, avr->flash + jam.at, 2);
            memcpy(avr->flash + jam.at, &loop, 2);
            return;
        }
    }
    fprintf(stderr, "bench: the program never sleeps\n");
    exit(2);
}

static void show_ram(void)
{
    for (int address = avr->ioend + 1; address <= avr->ramend; address++)
        tell(KEPT, 0, (uint16_t)address, avr->data[address]);
}

static void show_eeprom(void)
{
    for (uint32_t address = 0; address <= avr->e2end; address++) {
        uint8_t byte = 0;
        avr_eeprom_desc_t part = {.ee = &byte, .offset = (uint16_t)address, .size = 1};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &part);
        tell(KEPT, 0, (uint16_t)address, byte);
    }
}

static void obey(const struct record *command)
{
    uint8_t byte = (uint8_t)command->value;
    avr_eeprom_desc_t cell = {.ee = &byte, .offset = command->which, .size = 1};
    run_until(command->cycle);
    switch (command->kind) {
    case PIN:
        drive(command->where, command->which, command->value != 0);
        break;
    case VOLTS:
        millivolts[command->which & 7] = command->value;
        avr_raise_irq(analog + ADC_IRQ_ADC0 + (command->which & 7), command->value);
        break;
    case BYTE:
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT),
                      command->value);
        break;
    case POKE:
        memcpy(avr->data + command->which, &command->value, 4);
        break;
    case DISTURB: {
        avr_io_addr_t io = AVR_DATA_TO_IO(command->which);
        if (avr->io[io].w.c)
            avr->io[io].w.c(avr, command->which, byte, avr->io[io].w.param);
        else
            avr->data[command->which] = byte;
        break;
    }
    case JAM:
        get_stuck();
        break;
    case KEEP:
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &cell);
        break;
    case SHOW:
        if (command->where == 'r')
            show_ram();
        else
            show_eeprom();
        break;
    case RESET:
        reset(command);
        break;
    case RUN:
        tell(REACHED, 0, 0, 0);
        fflush(stdout);
        break;
    default:
        fprintf(stderr, "bench: no command %d\n", command->kind);
        exit(2);
    }
}

int main(int count, char **words)
{
    if (count != 5) {
        fprintf(stderr, "usage: bench PROGRAM.elf CHIP HERTZ MILLIVOLT\n");
        return 2;
    }
    avr_global_logger_set(quiet);
    static elf_firmware_t program;
    if (elf_read_firmware(words[1], &program) != 0) {
        fprintf(stderr, "bench: %s cannot be read\n", words[1]);
        return 2;
    }
    avr = avr_make_mcu_by_name(words[2]);
    if (!avr) {
        fprintf(stderr, "bench: chip %s is not known\n", words[2]);
        return 2;
    }
    avr_init(avr);
    avr->log = LOG_NONE;
    avr->frequency = program.frequency = (uint32_t)atol(words[3]);
    avr->vcc = avr->avcc = avr->aref = (uint32_t)atol(words[4]);
    program.vcc = program.avcc = program.aref = avr->vcc;
    avr_load_firmware(avr, &program);
    avr->sleep = no_sleep;
    mend(avr);
    chip_reset = avr->reset;
    avr->reset = note_reset;

    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), sent,
                            NULL);
    analog = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, 0);
    for (uintptr_t port = 'B'; port <= 'D'; port++) {
        avr_irq_register_notify(
            avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), IOPORT_IRQ_REG_PORT), port_written,
            (void *)port);
        avr_irq_register_notify(
            avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), IOPORT_IRQ_DIRECTION_ALL),
            port_written, (void *)port);
    }
    struct record power = {0, RESET, 'p', 0, 0};
    reset(&power);

    struct record command;
    while (fread(&command, sizeof command, 1, stdin) == 1)
        obey(&command);
    return 0;
}
