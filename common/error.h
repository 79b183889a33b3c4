/* What went wrong, where and why: one value that a failing function fills and each caller may wrap.
 * Must never allocate, print or end the program. Used by every module. */
#ifndef ROOMWAKE_COMMON_ERROR_H
#define ROOMWAKE_COMMON_ERROR_H

#define ERROR_CODES(X)                                                                             \
    X(NONE, "no error")                                                                            \
    X(USAGE, "wrong use")                                                                          \
    X(FORMAT, "malformed input")                                                                   \
    X(RANGE, "value out of range")                                                                 \
    X(VERSION, "unsupported version")                                                              \
    X(CHECKSUM, "checksum mismatch")                                                               \
    X(MEMORY, "out of memory")                                                                     \
    X(IO, "input or output failed")                                                                \
    X(NOT_FOUND, "not found")                                                                      \
    X(BUSY, "in use")                                                                              \
    X(FULL, "no room left")                                                                        \
    X(NETWORK, "network failed")                                                                   \
    X(STATE, "not possible now")

enum error_code {
#define ERROR_ENUM(name, text) ERROR_##name,
    ERROR_CODES(ERROR_ENUM)
#undef ERROR_ENUM
};

/* Caller-owned; `text` reads "where: why", never ends in a newline. */
struct error {
    enum error_code code;
    char text[512];
};

/* Fills *error (which may be NULL) and returns -1, so that a failing function ends in one line. */
int error_set(struct error *error, enum error_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Puts "format: " before the text that is there and returns -1. */
int error_wrap(struct error *error, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Where they are called the compiler, and whoever analyses the code, sees that they return -1. */
#define error_set(...) ((void)error_set(__VA_ARGS__), -1)
#define error_wrap(...) ((void)error_wrap(__VA_ARGS__), -1)

/* The sentence of a code; never NULL. */
const char *error_code_text(enum error_code code);

#endif
