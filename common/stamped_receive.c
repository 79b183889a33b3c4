/* recvmsg with SO_TIMESTAMPNS, its wall-clock stamp turned into an age.
 * Must never believe a stamp from the future or one that is old: the wall clock may have stepped.
 * Called by the node's time client. */
#include "common/stamped_receive.h"

#include <string.h>
#include <time.h>

#define AGE_MOST_NS INT64_C(100000000)

void stamped_receive_prepare(int socket)
{
    int on = 1;
    (void)setsockopt(socket, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
}

/* How long ago the kernel had it, by the machine's own clock, which is what it stamps with; 0 where
 * it does not say. */
static int64_t find_age_ns(struct msghdr *message, int64_t real_ns)
{
    for (struct cmsghdr *part = CMSG_FIRSTHDR(message); part; part = CMSG_NXTHDR(message, part)) {
        if (part->cmsg_level == SOL_SOCKET && part->cmsg_type == SCM_TIMESTAMPNS &&
            part->cmsg_len >= CMSG_LEN(sizeof(struct timespec))) {
            struct timespec stamp;
            memcpy(&stamp, CMSG_DATA(part), sizeof stamp);
            int64_t age_ns = real_ns - ((int64_t)stamp.tv_sec * NS_PER_S + stamp.tv_nsec);
            return age_ns > 0 && age_ns < AGE_MOST_NS ? age_ns : 0;
        }
    }
    return 0;
}

ssize_t stamped_receive(int socket, const struct clock_source *clock, void *bytes, size_t size,
                        struct sockaddr_storage *from, int64_t *came_ns)
{
    union {
        struct cmsghdr align;
        uint8_t bytes[CMSG_SPACE(sizeof(struct timespec)) * 4];
    } control;
    struct iovec part = {.iov_base = bytes, .iov_len = size};
    struct msghdr message = {.msg_name = from,
                             .msg_namelen = sizeof *from,
                             .msg_iov = &part,
                             .msg_iovlen = 1,
                             .msg_control = control.bytes,
                             .msg_controllen = sizeof control.bytes};
    const struct clock_source machine = clock_system();
    ssize_t got = recvmsg(socket, &message, MSG_DONTWAIT);
    int64_t real_ns = machine.real_ns(machine.context);
    *came_ns = clock->mono_ns(clock->context);
    if (got >= 0) {
        *came_ns -= find_age_ns(&message, real_ns);
    }
    return got;
}
