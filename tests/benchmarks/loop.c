/* The plain plan as a compiled loop over loaded columns: the same whole-number
   arithmetic, with 128-bit products. One household after another. */
#include <stdint.h>

typedef int64_t i64;
typedef __int128 wide;

enum { FIRST_DAY, CONTRACTUAL, PAYMENT, RATE, MORTGAGE, CAP65, LINE_CAP, REGISTERED, EXCESS,
       PRIVILEGE, RESERVE, LINE_RATE, GROWTH, YIELD1, YIELD2, TAX1, TAX2, ORDINARY,
       REFUND_MONTH, START, INPUTS };

static i64 times(i64 amount, i64 numerator, i64 denominator) {
    return (i64)(((wide)amount * numerator + denominator / 2) / denominator);
}

static i64 shifted(i64 amount, i64 numerator, int bits) {
    return (i64)(((wide)amount * numerator + ((wide)1 << (bits - 1))) >> bits);
}

static i64 lower(i64 a, i64 b) { return a < b ? a : b; }
static i64 higher(i64 a, i64 b) { return a > b ? a : b; }

/* in: INPUTS rows of n; changes: rows (month, rate, factor) of household h between
   since[h] and since[h+1]; days: month lengths from month `base` on; out: 10 rows of n. */
void project(i64 n, i64 months, const i64 *in, const i64 *changes, const i64 *since,
             const i64 *days, i64 base, i64 *out) {
    for (i64 h = 0; h < n; h++) {
#define IN(name) in[(name) * n + h]
        i64 mortgage = IN(MORTGAGE), payment = IN(PAYMENT), rate = IN(RATE);
        i64 excess = IN(EXCESS), line = 0, value = 0, opening = 0, held = 0, prepaid = 0;
        i64 saving = 0, deducted = 0, tax = 0, contractual = IN(CONTRACTUAL);
        i64 sums[10] = {0};
        i64 change = since[h], start = IN(START), wanted_day = IN(FIRST_DAY);
        for (i64 m = 0; m < months; m++) {
            i64 number = (start + m) % 12, last = days[start + m - base];
            i64 day = lower(wanted_day, last);
            int paying = mortgage > 0;
            if (number == 0) prepaid = 0;
            int changed = change < since[h + 1] && changes[3 * change] == m;
            if (changed) rate = changes[3 * change + 1];
            i64 interest = shifted(mortgage, rate, 61), owed = mortgage + interest;
            if (changed) payment = shifted(mortgage, changes[3 * change++ + 2], 60);
            i64 paid = lower(payment, owed);
            if (m + 1 >= contractual && owed < 2 * payment) paid = owed;
            i64 principal = paid - interest, sent = lower(principal, excess);
            sums[0] += interest;
            excess -= sent;
            mortgage -= principal;
            i64 freed = principal - sent;
            i64 offers[2] = {0, 0};
            if (number == IN(REFUND_MONTH) - 1) {
                sums[5] += saving;
                offers[0] = higher(0, saving);
            }
            if (paying) { offers[1] = held; held = 0; }
            for (int k = 0; k < 2; k++) {
                i64 taken = paying ? lower(offers[k], lower(IN(PRIVILEGE) - prepaid, mortgage)) : 0;
                prepaid += taken;
                sent = lower(taken, excess);
                excess -= sent;
                mortgage -= taken;
                freed += taken - sent;
                sums[4] += taken;
                sums[6] += offers[k] - taken;
            }
            i64 whole = lower(IN(REGISTERED), IN(CAP65) + excess) - mortgage;
            i64 room = higher(0, lower(IN(LINE_CAP), whole) - line);
            i64 draw = lower(freed, higher(0, room - IN(RESERVE)));
            i64 money = line * (m ? day : day - 1);
            line += draw;
            value += draw;
            sums[3] += draw;
            money = (money + line * (last - day)) * IN(LINE_RATE);
            i64 posted = (money + 182500000) / 365000000;
            sums[1] += posted;
            sums[2] += posted;
            deducted += posted;
            i64 one = times(opening, IN(YIELD1), 12000000000000);
            i64 two = times(opening, IN(YIELD2), 12000000000000);
            held += one + two;
            tax += one * IN(TAX1) + two * IN(TAX2);
            value += shifted(opening, IN(GROWTH), 61);
            opening = value;
            if (number == 11 || m == months - 1) {
                i64 exact = IN(ORDINARY) * deducted - tax;
                saving = exact < 0 ? -((-exact + 50000000) / 100000000)
                                   : (exact + 50000000) / 100000000;
                deducted = tax = 0;
            }
        }
        sums[7] = mortgage;
        sums[8] = line;
        sums[9] = value;
        for (int k = 0; k < 10; k++) out[k * n + h] = sums[k];
    }
}
