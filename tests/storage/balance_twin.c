/* The balance as a plain C loop that keeps the same measures (rationing, mains and trace off): the
   yardstick of the benchmark. Tanks are the inner loop, days the outer one. */
#define MIN(a, b) ((a) < (b) ? (a) : (b))
#define MAX(a, b) ((a) > (b) ? (a) : (b))

void balance(const double *restrict inflow, const double *restrict demand, const long *restrict years, long n_years,
             const double *restrict capacity, const double *restrict theta, double *restrict stored,
             double *restrict drawn, double *restrict spilled, double *restrict unmet, double *restrict failed,
             double *restrict events, double *restrict run, double *restrict longest, double *restrict event_short,
             double *restrict worst, double *restrict most,
             double *restrict year_drawn, double *restrict year_failed, long lanes)
{
    for (long i = 0; i < lanes; i++) most[i] = theta[i] < 1.0 ? capacity[i] / (1.0 - theta[i]) : 1e300;
    for (long year = 0; year < n_years; year++) {
        for (long i = 0; i < lanes; i++) {
            year_drawn[year * lanes + i] = drawn[i];
            year_failed[year * lanes + i] = failed[i];
        }
        for (long t = years[year]; t < years[year + 1]; t++) {
            const double q = inflow[t], a = demand[t], tolerance = 1e-9 * a;
            for (long i = 0; i < lanes; i++) {
                double s = stored[i];
                double y = MIN(MIN(a, s + theta[i] * q), most[i]);
                double full = s + q - theta[i] * y;
                double kept = MIN(full, capacity[i]);
                stored[i] = MAX(kept - (1.0 - theta[i]) * y, 0.0);
                drawn[i] += y;
                spilled[i] += full - kept;
                double lost = a - y;
                double bad = lost > tolerance ? 1.0 : 0.0;
                unmet[i] += lost;
                failed[i] += bad;
                double goes_on = a == 0.0 ? 1.0 : bad;
                run[i] = (run[i] + bad) * goes_on;
                events[i] += run[i] == 1.0 ? bad : 0.0;
                longest[i] = MAX(longest[i], run[i]);
                event_short[i] = (event_short[i] + lost) * goes_on;
                worst[i] = MAX(worst[i], event_short[i]);
            }
        }
        for (long i = 0; i < lanes; i++) {
            year_drawn[year * lanes + i] = drawn[i] - year_drawn[year * lanes + i];
            year_failed[year * lanes + i] = failed[i] - year_failed[year * lanes + i];
        }
    }
}
