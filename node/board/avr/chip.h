/* Which pin and register does what, on each chip. Names only.
 * Must never be included outside node/board/avr: the rest knows no chip.
 *
 *              328P        32U4
 * antenna      PC0 (A0)    PF7 (A0)
 * gain's pot   PC1 (A1)    PF6 (A1)
 * motion       PB0 (D8)    PD4 (D4)    the timer's capture input
 * thermometer  PD4 (D4)    PD7 (D6)
 * sound        PD3 (D3)    PC6 (D5)
 * gain pins    PB1-PB3     PB4-PB6
 * I2C          PC5, PC4    PD0, PD1
 * serial       PD1, PD0    PD3, PD2 */
#ifndef ROOMWAKE_NODE_BOARD_AVR_CHIP_H
#define ROOMWAKE_NODE_BOARD_AVR_CHIP_H

#include <avr/io.h>

#define WIRE_DDR DDRD
#define WIRE_PORT PORTD
#define WIRE_PIN PIND
#define GAIN_DDR DDRB
#define GAIN_PORT PORTB

#if defined(__AVR_ATmega328P__)

#define ADC_ANTENNA 0u
#define ADC_POT 1u
#define ADC_REFERENCE 14u
#define MOTION_PIN PINB
#define MOTION_BIT (1u << PB0)
#define WIRE_BIT (1u << PD4)
#define GAIN_SHIFT PB1
#define LINE_DATA UDR0
#define LINE_CONTROL UCSR0B
#define LINE_STATUS UCSR0A
#define LINE_BAUD UBRR0
#define LINE_DOUBLE (1u << U2X0)
#define LINE_FORMAT() (UCSR0C = 3u << UCSZ00)
#define LINE_ENABLE (1u << RXEN0 | 1u << TXEN0 | 1u << RXCIE0)
#define LINE_EMPTY_INTERRUPT (1u << UDRIE0)
#define LINE_RECEIVED_INTERRUPT (1u << RXCIE0)
#define LINE_RECEIVED_VECTOR USART_RX_vect
#define LINE_EMPTY_VECTOR USART_UDRE_vect

#elif defined(__AVR_ATmega32U4__)

#define ADC_ANTENNA 7u
#define ADC_POT 6u
#define ADC_REFERENCE 30u
#define MOTION_PIN PIND
#define MOTION_BIT (1u << PD4)
#define WIRE_BIT (1u << PD7)
#define GAIN_SHIFT PB4
#define LINE_DATA UDR1
#define LINE_CONTROL UCSR1B
#define LINE_STATUS UCSR1A
#define LINE_BAUD UBRR1
#define LINE_DOUBLE (1u << U2X1)
#define LINE_FORMAT() (UCSR1C = 3u << UCSZ10)
#define LINE_ENABLE (1u << RXEN1 | 1u << TXEN1 | 1u << RXCIE1)
#define LINE_EMPTY_INTERRUPT (1u << UDRIE1)
#define LINE_RECEIVED_INTERRUPT (1u << RXCIE1)
#define LINE_RECEIVED_VECTOR USART1_RX_vect
#define LINE_EMPTY_VECTOR USART1_UDRE_vect

#else
#error "no pins are given for this chip"
#endif

#endif
