/* What a phone's bursts leave on a bare antenna.
 * Must never know of rooms or nodes: time and strength in, level out. */
#ifndef ROOMWAKE_NODE_WORLD_RADIO_H
#define ROOMWAKE_NODE_WORLD_RADIO_H

/* 3GPP TS 45.002 "Multiplexing and multiple access on the radio path", sec. 4.3: a TDMA frame
 * lasts 120/26 ms and has 8 slots; in the 26-frame multiframe of a traffic channel one frame is
 * idle. */
#define RADIO_FRAME_S (0.120 / 26.0)
#define RADIO_FRAME_HZ (26.0 / 0.120)
#define RADIO_SLOT_S (RADIO_FRAME_S / 8.0)
#define RADIO_MULTIFRAME 26

/* The rectified burst train behind a simple low-pass of time constant RADIO_LAG_S (a bare
 * converter pin; our choice, no source), `since_s` after the call began: 0 to 1. */
#define RADIO_LAG_S 0.001
double radio_burst_level(double since_s);

/* Where a line of frequency_hz appears when sampled at rate_hz: 0 to rate_hz / 2. */
double radio_alias_hz(double frequency_hz, double rate_hz);

#endif
