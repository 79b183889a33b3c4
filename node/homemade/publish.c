/* A home-made node in twenty lines: each line of standard input is a number, sent at once as SenML.
 * Must never be needed: whatever speaks MQTT may do the same. cc publish.c -lmosquitto -o publish
 * sensor | ./publish HOST PORT AUTHORITY SITE NODE PASSWORD CHANNEL UNIT */
#include <mosquitto.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

int main(int argc, char **argv)
{
    char number[64], topic[160], pack[256];
    struct mosquitto *client = mosquitto_lib_init() ? NULL : mosquitto_new(NULL, 1, NULL);
    if (argc != 9 || !client || mosquitto_username_pw_set(client, argv[5], argv[6]) ||
        (argv[3][0] && mosquitto_tls_set(client, argv[3], NULL, NULL, NULL, NULL)) ||
        mosquitto_connect(client, argv[1], atoi(argv[2]), 60) || mosquitto_loop_start(client))
        return 1;
    snprintf(topic, sizeof topic, "roomwake/%s/%s/senml", argv[4], argv[5]);
    while (fgets(number, sizeof number, stdin)) {
        struct timespec now; /* of a clock that a time service keeps; without one leave "t" out */
        clock_gettime(CLOCK_REALTIME, &now);
        snprintf(pack, sizeof pack, "[{\"n\":\"%s\",\"u\":\"%s\",\"t\":%lld.%09ld,\"v\":%.*s}]",
                 argv[7], argv[8], (long long)now.tv_sec, now.tv_nsec, (int)strcspn(number, "\r\n"),
                 number);
        mosquitto_publish(client, NULL, topic, (int)strlen(pack), pack, 1, 0);
    }
    mosquitto_disconnect(client); /* what is under way is sent first */
    return mosquitto_loop_stop(client, 0);
}
