#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "settings.h"

/* At 16 MHz 115200 is really 117647, 2.1 % fast: within what a receiver takes (4 %), not within the
 * default tolerance of setbaud.h. */
#define BAUD_TOL 3
#include <util/setbaud.h>

/* Powers of two, so that an 8-bit index need only be masked. Two of the longest lines fit. */
#define OUT_SIZE 256
#define IN_SIZE 64

/* All volatile: a byte must be in its place before the index says so. */
static volatile char out[OUT_SIZE];
static volatile uint8_t out_head;
static volatile uint8_t out_tail;
static volatile char in[IN_SIZE];
static volatile uint8_t in_head;
static volatile uint8_t in_tail;

void serial_start(void)
{
    UCSR0A = USE_2X ? _BV(U2X0) : 0;
    UBRR0 = UBRR_VALUE;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 data bits, no parity, 1 stop bit */
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

bool serial_send(const char *text, uint8_t length)
{
    uint8_t used = out_head - out_tail;
    if (length > OUT_SIZE - 1 - used)
        return false;
    uint8_t head = out_head;
    while (length--)
        out[head++] = *text++;
    out_head = head;
    UCSR0B |= _BV(UDRIE0);
    return true;
}

ISR(USART_UDRE_vect)
{
    uint8_t tail = out_tail;
    if (tail == out_head) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = out[tail];
        out_tail = tail + 1;
    }
}

ISR(USART_RX_vect)
{
    bool damaged = UCSR0A & (_BV(FE0) | _BV(DOR0));
    char byte = UDR0;
    uint8_t head = in_head;
    if ((uint8_t)(head - in_tail) < IN_SIZE) {
        in[head % IN_SIZE] = damaged ? 0 : byte;
        in_head = head + 1;
    }
}

int16_t serial_take(void)
{
    if (in_tail == in_head)
        return -1;
    uint8_t tail = in_tail;
    uint8_t byte = in[tail % IN_SIZE];
    in_tail = tail + 1;
    return byte;
}
