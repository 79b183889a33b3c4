/* sendto with SO_TIMESTAMPING, whose stamp comes back through the socket's error queue at once
 * where the packet leaves at once (Linux kernel, Documentation/networking/timestamping, sec. 1.3
 * and 2.1). Must never believe a stamp of before or after the call: it is another packet's, or the
 * wall clock stepped. Called by the node's time client and by the time server. */
#include "common/stamped_send.h"

#include <linux/errqueue.h>
#include <linux/net_tstamp.h>
#include <stdbool.h>
#include <string.h>
#include <time.h>

#define STAMPS_MOST 64

void stamped_send_prepare(int socket)
{
    int what =
        SOF_TIMESTAMPING_TX_SOFTWARE | SOF_TIMESTAMPING_SOFTWARE | SOF_TIMESTAMPING_OPT_TSONLY;
    int on = 1;
    if (setsockopt(socket, SOL_SOCKET, SO_SELECT_ERR_QUEUE, &on, sizeof on) == 0) {
        (void)setsockopt(socket, SOL_SOCKET, SO_TIMESTAMPING, &what, sizeof what);
    }
}

/* The next stamp waiting, by the machine's wall clock; false: none waits. 0 where it says nothing.
 */
static bool take_stamp(int socket, int64_t *stamp_ns)
{
    union {
        struct cmsghdr align;
        uint8_t bytes[512];
    } control;
    uint8_t packet[64];
    struct iovec part = {.iov_base = packet, .iov_len = sizeof packet};
    struct msghdr message = {.msg_iov = &part,
                             .msg_iovlen = 1,
                             .msg_control = control.bytes,
                             .msg_controllen = sizeof control.bytes};
    *stamp_ns = 0;
    if (recvmsg(socket, &message, MSG_ERRQUEUE | MSG_DONTWAIT) < 0) {
        return false;
    }
    for (struct cmsghdr *one = CMSG_FIRSTHDR(&message); one; one = CMSG_NXTHDR(&message, one)) {
        if (one->cmsg_level == SOL_SOCKET && one->cmsg_type == SCM_TIMESTAMPING &&
            one->cmsg_len >= CMSG_LEN(sizeof(struct timespec))) {
            struct timespec stamp;
            memcpy(&stamp, CMSG_DATA(one), sizeof stamp);
            *stamp_ns = (int64_t)stamp.tv_sec * NS_PER_S + stamp.tv_nsec;
        }
    }
    return true;
}

ssize_t stamped_send(int socket, const struct clock_source *clock, const void *bytes, size_t length,
                     const struct sockaddr_storage *to, socklen_t to_length, int64_t *left_ns)
{
    const struct clock_source machine = clock_system();
    int64_t stamp_ns;
    int64_t before_ns = clock->mono_ns(clock->context);
    ssize_t sent =
        sendto(socket, bytes, length, MSG_DONTWAIT, (const struct sockaddr *)to, to_length);
    int64_t real_ns = machine.real_ns(machine.context);
    int64_t after_ns = clock->mono_ns(clock->context);
    *left_ns = before_ns;
    for (int i = 0; i < STAMPS_MOST && take_stamp(socket, &stamp_ns); i++) {
        int64_t stamped_ns = after_ns - (real_ns - stamp_ns);
        if (stamped_ns >= before_ns && stamped_ns <= after_ns) {
            *left_ns = stamped_ns;
        }
    }
    return sent;
}

void stamped_send_drain(int socket)
{
    int64_t stamp_ns;
    for (int i = 0; i < STAMPS_MOST && take_stamp(socket, &stamp_ns); i++) {
    }
}
