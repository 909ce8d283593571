/* Yardstick of the balance: yield after spillage, days outside, blocks of 32 tanks inside, every measure that
   simulate keeps without rationing or mains. Compiled as test_balance_speed.py does, its bits are those of simulate.
   q, d: litres a day; yend: index after each year's last day; cap: litres; n: a multiple of B.
   out, 7 rows of n: drawn, spilled, failed days, longest failure, failure events, worst shortfall of an event, unmet.
   annual, failed: drawn and failed days by year. A day without demand neither lengthens nor ends a failure. */
#include <stddef.h>
#define B 32

void full(const double *restrict q, const double *restrict d, const size_t *restrict yend, size_t ny,
          const double *restrict cap, size_t n, double *restrict out, double *restrict annual,
          double *restrict failed)
{
    for (size_t j = 0; j < n; j += B) {
        double s[B], c[B], y[B], m[B], sp[B], run[B], lng[B], ev[B], es[B], ws[B], un[B], y0[B], m0[B];
        for (int i = 0; i < B; i++) {
            s[i] = 0; c[i] = cap[j + i];
            y[i] = m[i] = sp[i] = run[i] = lng[i] = ev[i] = es[i] = ws[i] = un[i] = y0[i] = m0[i] = 0;
        }
        size_t t = 0;
        for (size_t k = 0; k < ny; k++) {
            for (; t < yend[k]; t++) {
                double qt = q[t], dt = d[t], tol = dt * (1 - 1e-9), idle = dt == 0.0 ? 1.0 : 0.0;
                for (int i = 0; i < B; i++) {
                    double u = dt < s[i] ? dt : s[i], a = s[i] + qt, v = a < c[i] ? a : c[i];
                    sp[i] += a - v; s[i] = v - u; y[i] += u;
                    double w = dt - u; un[i] += w;
                    double bad = (u < tol) ? 1.0 : 0.0; m[i] += bad;
                    double on = bad > idle ? bad : idle;
                    double r = (run[i] + bad) * on; run[i] = r; lng[i] = r > lng[i] ? r : lng[i];
                    ev[i] += (r == 1.0) ? bad : 0.0;
                    double e = (es[i] + w) * on; es[i] = e; ws[i] = e > ws[i] ? e : ws[i];
                }
            }
            for (int i = 0; i < B; i++) {
                annual[k * n + j + i] = y[i] - y0[i]; y0[i] = y[i];
                failed[k * n + j + i] = m[i] - m0[i]; m0[i] = m[i];
            }
        }
        for (int i = 0; i < B; i++) {
            out[j + i] = y[i]; out[n + j + i] = sp[i]; out[2 * n + j + i] = m[i]; out[3 * n + j + i] = lng[i];
            out[4 * n + j + i] = ev[i]; out[5 * n + j + i] = ws[i]; out[6 * n + j + i] = un[i];
        }
    }
}
