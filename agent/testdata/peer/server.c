/*
 * A Modbus server on libmodbus with known values, for the agent to read:
 *
 *     server tcp PORT          at 127.0.0.1
 *     server rtu DEVICE BAUD   8E1, unit 17
 *
 * It prints "ready" when it serves, and answers until it is killed. The words
 * of every value are laid out here by hand, so that no word order is a
 * library's opinion.
 */
#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void two(uint16_t *at, uint16_t first, uint16_t second)
{
	at[0] = first;
	at[1] = second;
}

static uint16_t swapped(uint16_t w) { return (uint16_t)(w << 8 | w >> 8); }

static uint32_t bits_of(float f)
{
	uint32_t u;
	memcpy(&u, &f, sizeof u);
	return u;
}

static void fill_holding(uint16_t *r)
{
	uint32_t u;

	r[0] = 0x0237; /* status word: operation enabled */
	r[1] = 1450;
	r[2] = (uint16_t)-125;
	u = 123456; /* CDAB: the low word first */
	two(&r[3], (uint16_t)u, (uint16_t)(u >> 16));
	u = bits_of(3.75f); /* ABCD */
	two(&r[5], (uint16_t)(u >> 16), (uint16_t)u);
	u = bits_of(7.25f); /* DCBA: every byte turned round */
	two(&r[7], swapped((uint16_t)u), swapped((uint16_t)(u >> 16)));
	r[9] = 0x4950; /* four decimal digits */
	r[10] = 0x0020; /* bit 5 */
}

static void fill_input(uint16_t *r)
{
	uint32_t u;
	uint64_t d;
	double volume = 12345.678;

	u = bits_of(70.5f); /* BADC: the bytes of each word turned round */
	two(&r[0], swapped((uint16_t)(u >> 16)), swapped((uint16_t)u));
	u = bits_of(22.5f); /* CDAB */
	two(&r[2], (uint16_t)u, (uint16_t)(u >> 16));
	u = (uint32_t)-25000; /* ABCD */
	two(&r[4], (uint16_t)(u >> 16), (uint16_t)u);
	r[6] = 12000; /* µA */
	memcpy(&d, &volume, sizeof d);
	for (int i = 0; i < 4; i++)
		r[7 + i] = (uint16_t)(d >> (48 - 16 * i));
	r[11] = 0x8000; /* no value */
	two(&r[12], 0x0000, 0x0812); /* eight decimal digits */
}

static void serve(modbus_t *ctx, modbus_mapping_t *map)
{
	uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];

	for (;;) {
		int n = modbus_receive(ctx, query);
		if (n > 0 && modbus_reply(ctx, query, n, map) == -1)
			return;
		if (n == -1 && modbus_get_header_length(ctx) > 1) /* TCP: the client left */
			return;
	}
}

int main(int argc, char **argv)
{
	modbus_mapping_t *map = modbus_mapping_new(8, 8, 16, 16);
	modbus_t *ctx = NULL;
	int listener;

	setvbuf(stdout, NULL, _IOLBF, 0);
	if (map == NULL || argc < 3)
		return 2;
	fill_holding(map->tab_registers);
	fill_input(map->tab_input_registers);
	map->tab_bits[3] = 1;
	map->tab_input_bits[5] = 0;
	map->tab_input_bits[6] = 1;

	if (strcmp(argv[1], "tcp") == 0) {
		ctx = modbus_new_tcp("127.0.0.1", atoi(argv[2]));
		if (ctx == NULL || (listener = modbus_tcp_listen(ctx, 1)) == -1) {
			fprintf(stderr, "%s\n", modbus_strerror(errno));
			return 1;
		}
		puts("ready");
		while (modbus_tcp_accept(ctx, &listener) != -1) {
			serve(ctx, map);
			modbus_close(ctx);
		}
		return 1;
	}
	if (argc < 4)
		return 2;
	ctx = modbus_new_rtu(argv[2], atoi(argv[3]), 'E', 8, 1);
	if (ctx == NULL || modbus_set_slave(ctx, 17) == -1 || modbus_connect(ctx) == -1) {
		fprintf(stderr, "%s\n", modbus_strerror(errno));
		return 1;
	}
	puts("ready");
	serve(ctx, map);
	return 1;
}
