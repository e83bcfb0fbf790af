/* What the SNMP client is measured against, one process a run:
 *   reference raw UNITS WINDOW CYCLES PORT   sendmmsg and recvmmsg, nothing decoded
 *   reference 2c  UNITS WINDOW CYCLES PORT   Net-SNMP, asynchronous, one session
 *   reference 3   UNITS WINDOW CYCLES PORT   Net-SNMP, asynchronous, a session a unit
 * Prints: polls answered, processor time a poll in microseconds.
 */
#define _GNU_SOURCE
#include <net-snmp/net-snmp-config.h>
#include <net-snmp/net-snmp-includes.h>
#include <net-snmp/library/large_fd_set.h>
#include <arpa/inet.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/socket.h>

enum { OBJECTS = 24, BATCH = 64 };
static int units, window, cycles, port;
static long answered;

static double cpu(void)
{
    struct rusage r;
    getrusage(RUSAGE_SELF, &r);
    return r.ru_utime.tv_sec + r.ru_stime.tv_sec + (r.ru_utime.tv_usec + r.ru_stime.tv_usec) / 1e6;
}

static in_addr_t address(int unit) { return htonl((127u << 24) + (1u << 16) + unit); }

static void report(double begin)
{
    printf("{\"Polls\":%ld,\"CPU\":%.3f}\n", answered, answered ? (cpu() - begin) * 1e6 / answered : 0);
}

/* raw */

static void raw_cycle(int fd, unsigned char *request, int size)
{
    static unsigned char room[BATCH][2048];
    struct mmsghdr out[BATCH], in[BATCH];
    struct sockaddr_in to[BATCH];
    struct iovec send = {request, size}, receive[BATCH];
    memset(out, 0, sizeof out);
    memset(in, 0, sizeof in);
    memset(to, 0, sizeof to);
    for (int i = 0; i < BATCH; i++) {
        to[i].sin_family = AF_INET;
        to[i].sin_port = htons(port);
        out[i].msg_hdr = (struct msghdr){.msg_name = &to[i], .msg_namelen = sizeof to[i], .msg_iov = &send, .msg_iovlen = 1};
        receive[i] = (struct iovec){room[i], sizeof room[i]};
        in[i].msg_hdr = (struct msghdr){.msg_iov = &receive[i], .msg_iovlen = 1};
    }
    for (int sent = 0, got = 0; got < units;) {
        int n = 0;
        for (; n < BATCH && sent + n < units && sent + n - got < window; n++)
            to[n].sin_addr.s_addr = address(sent + n);
        int went = n ? sendmmsg(fd, out, n, 0) : 0;
        if (went > 0) sent += went;
        int came = recvmmsg(fd, in, BATCH, MSG_DONTWAIT, NULL);
        if (came > 0) { got += came; answered += came; continue; }
        struct pollfd p = {fd, POLLIN, 0};
        if (sent - got < window && sent < units) continue;
        if (poll(&p, 1, 2000) == 0) return; /* some were lost */
    }
}

static void raw(void)
{
    unsigned char list[OBJECTS * 32], message[1024];
    int at = 0;
    for (int i = 1; i <= OBJECTS; i++) {
        unsigned char v[] = {0x30, 16, 6, 12, 0x2b, 6, 1, 4, 1, 0x81, 0xfd, 0x59, 1, 1, i, 0, 5, 0};
        memcpy(list + at, v, sizeof v);
        at += sizeof v;
    }
    int pdu = 12 + 4 + at, whole = 3 + 8 + 4 + pdu;
    unsigned char head[] = {0x30, 0x82, whole >> 8, whole, 2, 1, 1, 4, 6, 'p', 'u', 'b', 'l', 'i', 'c', 0xa0, 0x82, pdu >> 8, pdu,
                            2, 4, 0x40, 1, 2, 3, 2, 1, 0, 2, 1, 0, 0x30, 0x82, at >> 8, at};
    memcpy(message, head, sizeof head);
    memcpy(message + sizeof head, list, at);
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_NONBLOCK, 0), room = 4 << 20;
    setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &room, sizeof room);
    setsockopt(fd, SOL_SOCKET, SO_SNDBUF, &room, sizeof room);
    raw_cycle(fd, message, sizeof head + at);
    answered = 0;
    double begin = cpu();
    for (int c = 0; c < cycles; c++) raw_cycle(fd, message, sizeof head + at);
    report(begin);
}

/* Net-SNMP */

static int under, left, v3;
static long values[OBJECTS];

static int over(int operation, netsnmp_session *s, int id, netsnmp_pdu *pdu, void *magic)
{
    (void)s; (void)id; (void)magic;
    if (operation == NETSNMP_CALLBACK_OP_RECEIVED_MESSAGE) {
        if (pdu->command != SNMP_MSG_RESPONSE) return 1;
        int i = 0;
        for (netsnmp_variable_list *v = pdu->variables; v && i < OBJECTS; v = v->next_variable)
            if (v->type == ASN_INTEGER) values[i++] = *v->val.integer;
        if (i == OBJECTS) answered++;
    } else if (operation != NETSNMP_CALLBACK_OP_TIMED_OUT && operation != NETSNMP_CALLBACK_OP_SEND_FAILED)
        return 1;
    under--;
    left--;
    return 1;
}

static struct session_list *session(int unit, u_char *auth, size_t auth_size, u_char *priv, size_t priv_size)
{
    netsnmp_session s;
    char peer[64];
    struct in_addr a = {address(unit)};
    snmp_sess_init(&s);
    snprintf(peer, sizeof peer, "udp:%s:%d", inet_ntoa(a), port);
    s.peername = peer;
    s.retries = 1;
    s.timeout = 2000000;
    s.version = SNMP_VERSION_2c;
    s.community = (u_char *)"public";
    s.community_len = 6;
    if (v3) {
        s.version = SNMP_VERSION_3;
        s.securityName = "reader";
        s.securityNameLen = 6;
        s.securityModel = USM_SEC_MODEL_NUMBER;
        s.securityLevel = SNMP_SEC_LEVEL_AUTHPRIV;
        s.securityAuthProto = (oid *)usmHMAC192SHA256AuthProtocol;
        s.securityAuthProtoLen = OID_LENGTH(usmHMAC192SHA256AuthProtocol);
        s.securityPrivProto = (oid *)usmAESPrivProtocol;
        s.securityPrivProtoLen = OID_LENGTH(usmAESPrivProtocol);
        memcpy(s.securityAuthKey, auth, s.securityAuthKeyLen = auth_size);
        memcpy(s.securityPrivKey, priv, s.securityPrivKeyLen = priv_size);
    }
    struct session_list *open = snmp_sess_open(&s);
    if (!open) { fprintf(stderr, "no session with unit %d\n", unit); exit(1); }
    fcntl(snmp_sess_transport(open)->sock, F_SETFL, O_NONBLOCK);
    return open;
}

static void ask(struct session_list *s, int unit)
{
    oid name[] = {1, 3, 6, 1, 4, 1, 32473, 1, 1, 0, 0};
    netsnmp_pdu *pdu = snmp_pdu_create(SNMP_MSG_GET);
    for (int i = 1; i <= OBJECTS; i++) {
        name[9] = i;
        snmp_add_null_var(pdu, name, OID_LENGTH(name));
    }
    if (!v3) { /* one session: the address travels with the request */
        netsnmp_indexed_addr_pair to;
        memset(&to, 0, sizeof to);
        to.remote_addr.sin.sin_family = AF_INET;
        to.remote_addr.sin.sin_port = htons(port);
        to.remote_addr.sin.sin_addr.s_addr = address(unit);
        pdu->transport_data = netsnmp_memdup(&to, sizeof to);
        pdu->transport_data_length = sizeof to;
    }
    under++;
    if (!snmp_sess_async_send(s, pdu, over, NULL)) { snmp_free_pdu(pdu); under--; left--; }
}

static void cycle(struct session_list **all, int events)
{
    static netsnmp_large_fd_set set;
    static int made;
    if (!made++) { netsnmp_large_fd_set_init(&set, 70000); NETSNMP_LARGE_FD_ZERO(&set); }
    struct epoll_event ready[BATCH];
    left = units;
    for (int next = 0, quiet = 0; left > 0;) {
        for (int n = 0; n < BATCH && next < units && under < window; n++, next++) ask(all[v3 ? next : 0], next);
        int n = epoll_wait(events, ready, BATCH, next < units && under < window ? 0 : 20);
        for (int i = 0; i < n; i++) {
            struct session_list *s = all[ready[i].data.u32];
            int fd = snmp_sess_transport(s)->sock;
            NETSNMP_LARGE_FD_SET(fd, &set);
            for (int k = 0; k < (v3 ? 1 : 128) && snmp_sess_read2(s, &set) == 0; k++) ;
            NETSNMP_LARGE_FD_CLR(fd, &set);
        }
        if (n > 0) quiet = 0;
        else if (++quiet % 20 == 0)
            for (int i = 0; i < (v3 ? units : 1); i++) snmp_sess_timeout(all[i]);
    }
}

static void netsnmp(void)
{
    u_char auth[USM_AUTH_KU_LEN], priv[USM_AUTH_KU_LEN];
    size_t auth_size = sizeof auth, priv_size = sizeof priv;
    setenv("MIBS", "", 1);
    netsnmp_ds_set_boolean(NETSNMP_DS_LIBRARY_ID, NETSNMP_DS_LIB_DONT_READ_CONFIGS, 1);
    netsnmp_ds_set_boolean(NETSNMP_DS_LIBRARY_ID, NETSNMP_DS_LIB_DISABLE_PERSISTENT_LOAD, 1);
    netsnmp_ds_set_boolean(NETSNMP_DS_LIBRARY_ID, NETSNMP_DS_LIB_DISABLE_PERSISTENT_SAVE, 1);
    netsnmp_ds_set_int(NETSNMP_DS_LIBRARY_ID, NETSNMP_DS_LIB_CLIENTRECVBUF, v3 ? 1 << 17 : 4 << 20);
    netsnmp_ds_set_int(NETSNMP_DS_LIBRARY_ID, NETSNMP_DS_LIB_CLIENTSENDBUF, v3 ? 1 << 17 : 4 << 20);
    snmp_disable_stderrlog();
    init_snmp("reference");
    generate_Ku(usmHMAC192SHA256AuthProtocol, OID_LENGTH(usmHMAC192SHA256AuthProtocol), (u_char *)"authentication password", 23, auth, &auth_size);
    generate_Ku(usmHMAC192SHA256AuthProtocol, OID_LENGTH(usmHMAC192SHA256AuthProtocol), (u_char *)"privacy password", 16, priv, &priv_size);
    int sessions = v3 ? units : 1, events = epoll_create1(0);
    struct session_list **all = calloc(sessions, sizeof *all);
    for (int i = 0; i < sessions; i++) {
        all[i] = session(i, auth, auth_size, priv, priv_size);
        struct epoll_event e = {.events = EPOLLIN, .data.u32 = i};
        epoll_ctl(events, EPOLL_CTL_ADD, snmp_sess_transport(all[i])->sock, &e);
    }
    cycle(all, events);
    answered = 0;
    double begin = cpu();
    for (int c = 0; c < cycles; c++) cycle(all, events);
    report(begin);
}

int main(int n, char **words)
{
    if (n != 6) return 2;
    units = atoi(words[2]), window = atoi(words[3]), cycles = atoi(words[4]), port = atoi(words[5]);
    v3 = !strcmp(words[1], "3");
    if (!strcmp(words[1], "raw")) raw(); else netsnmp();
    return 0;
}
