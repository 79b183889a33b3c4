/* The two parts on the board's buses. Must never be used but by bench.c. */
#ifndef ROOMWAKE_TESTS_BOARD_BENCH_PARTS_H
#define ROOMWAKE_TESTS_BOARD_BENCH_PARTS_H

#include "tests/board/bench.h"

void bench_connect_parts(struct bench *bench);

#endif
