/* What a program tells the machine's service manager: that it is ready, that it lives, that it
 * ends. Must never wait, nor fail a program: without a manager each call does nothing. Used by both
 * programs. The protocol is sd_notify(3)'s, whose page gives it as stable and simple enough for
 * programs to speak it themselves; its library would be one more in a program that runs on boards.
 */
#ifndef ROOMWAKE_COMMON_SERVICE_H
#define ROOMWAKE_COMMON_SERVICE_H

/* Before any child is started: a child that speaks the same protocol (mosquitto does) would else
 * pass for this program. A program that begins again by exec must not call it. */
void service_keep(void);
/* One datagram to $NOTIFY_SOCKET, a path or "@" and an abstract name. */
void service_ready(void);
/* From the loop, once a second or oftener: a loop that hangs says nothing, and is started again. */
void service_alive(void);
void service_ending(void);

#endif
