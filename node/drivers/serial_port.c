/* Opens, sets, reads and writes a serial line.
 * Must never block the loop. Called by serial.c. */
#include "node/drivers/serial_port.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

static const struct {
    int baud;
    speed_t speed;
} speeds[] = {{9600, B9600},     {19200, B19200},     {38400, B38400},    {57600, B57600},
              {115200, B115200}, {230400, B230400},   {460800, B460800},  {500000, B500000},
              {921600, B921600}, {1000000, B1000000}, {2000000, B2000000}};

static int find_speed(int baud, speed_t *speed)
{
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) {
        if (speeds[i].baud == baud) {
            *speed = speeds[i].speed;
            return 0;
        }
    }
    return -1;
}

bool serial_port_has_baud(int baud)
{
    speed_t speed;
    return find_speed(baud, &speed) == 0;
}

static int set_line(int file, speed_t speed)
{
    struct termios line;
    if (tcgetattr(file, &line)) {
        return -1;
    }
    cfmakeraw(&line);
    line.c_cflag |= CLOCAL | CREAD;
    line.c_cflag &= ~(tcflag_t)(CRTSCTS | CSTOPB | PARENB | HUPCL); /* HUPCL would reset a board */
    line.c_cc[VMIN] = 1; /* with 0 a line that is gone could not be told from a silent one */
    line.c_cc[VTIME] = 0;
    return cfsetispeed(&line, speed) || cfsetospeed(&line, speed) ||
                   tcsetattr(file, TCSANOW, &line) || tcflush(file, TCIFLUSH)
               ? -1
               : 0;
}

int serial_port_open(const char *path, int baud, struct error *error)
{
    speed_t speed;
    if (find_speed(baud, &speed)) {
        return error_set(error, ERROR_RANGE, "%s: a line has no %d baud", path, baud);
    }
    int file = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (file < 0) {
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    (void)ioctl(file, TIOCEXCL);
    if (set_line(file, speed)) {
        (void)error_set(error, ERROR_IO, "%s: not a serial line: %s", path, strerror(errno));
        close(file);
        return -1;
    }
    return file;
}

long serial_port_read(int file, uint8_t *bytes, size_t size, struct error *error)
{
    ssize_t got = read(file, bytes, size);
    if (got > 0) {
        return got;
    }
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) {
        return 0;
    }
    return error_set(error, ERROR_IO, "unplugged%s%s", got < 0 ? ": " : "",
                     got < 0 ? strerror(errno) : "");
}

void serial_port_write(int file, const uint8_t *bytes, size_t length)
{
    ssize_t put = write(file, bytes, length);
    (void)put;
}

void serial_port_close(int file)
{
    close(file);
}
