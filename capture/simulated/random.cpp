#include "capture/simulated/random.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "capture/splitmix64.h"

namespace assay::capture {

namespace {

using Coefficients = std::array<double, 8>;

double polynomial(const Coefficients& c, double x) {
    double sum = 0.0;
    for (std::size_t i = c.size(); i-- > 0;) sum = sum * x + c[i];
    return sum;
}

// Numerators and denominators of AS 241 for the middle, the tails and the far tails.
constexpr Coefficients a{3.3871328727963666080e0,  1.3314166789178437745e+2, 1.9715909503065514427e+3,
                         1.3731693765509461125e+4, 4.5921953931549871457e+4, 6.7265770927008700853e+4,
                         3.3430575583588128105e+4, 2.5090809287301226727e+3};
constexpr Coefficients b{1.0,
                         4.2313330701600911252e+1,
                         6.8718700749205790830e+2,
                         5.3941960214247511077e+3,
                         2.1213794301586595867e+4,
                         3.9307895800092710610e+4,
                         2.8729085735721942674e+4,
                         5.2264952788528545610e+3};
constexpr Coefficients c{1.42343711074968357734e0,  4.63033784615654529590e0, 5.76949722146069140550e0,
                         3.64784832476320460504e0,  1.27045825245236838258e0, 2.41780725177450611770e-1,
                         2.27238449892691845833e-2, 7.74545014278341407640e-4};
constexpr Coefficients d{1.0,
                         2.05319162663775882187e0,
                         1.67638483018380384940e0,
                         6.89767334985100004550e-1,
                         1.48103976427480074590e-1,
                         1.51986665636164571966e-2,
                         5.47593808499534494600e-4,
                         1.05075007164441684324e-9};
constexpr Coefficients e{6.65790464350110377720e0,  5.46378491116411436990e0,  1.78482653991729133580e0,
                         2.96560571828504891230e-1, 2.65321895265761230930e-2, 1.24266094738807843860e-3,
                         2.71155556874348757815e-5, 2.01033439929228813265e-7};
constexpr Coefficients f{1.0,
                         5.99832206555887937690e-1,
                         1.36929880922735805310e-1,
                         1.48753612908506148525e-2,
                         7.86869131145613259100e-4,
                         1.84631831751005468180e-5,
                         1.42151175831644588870e-7,
                         2.04426310338993978564e-15};

}  // namespace

std::uint64_t stream_seed(std::uint64_t seed, std::string_view name, std::uint64_t number) {
    std::uint64_t hash = 0xcbf29ce484222325U;
    for (const char letter : name) {
        hash = (hash ^ static_cast<unsigned char>(letter)) * 0x100000001b3U;
    }
    std::uint64_t state = seed;
    state = splitmix64(state) ^ hash;
    state = splitmix64(state) ^ number;
    return splitmix64(state);
}

RandomSource::RandomSource(std::uint64_t seed) {
    for (std::uint64_t& word : state) word = splitmix64(seed);
}

std::uint64_t RandomSource::next() {
    const std::uint64_t result = std::rotl(state[0] + state[3], 23) + state[0];
    const std::uint64_t shifted = state[1] << 17U;
    state[2] ^= state[0];
    state[3] ^= state[1];
    state[1] ^= state[2];
    state[0] ^= state[3];
    state[2] ^= shifted;
    state[3] = std::rotl(state[3], 45);
    return result;
}

double RandomSource::uniform() {
    return (static_cast<double>(next() >> 12U) + 0.5) * 0x1p-52;
}

double RandomSource::normal() {
    return normal_quantile(uniform());
}

double normal_quantile(double probability) {
    const double q = probability - 0.5;
    if (std::abs(q) <= 0.425) {
        const double r = 0.180625 - q * q;
        return q * polynomial(a, r) / polynomial(b, r);
    }
    const double r = std::sqrt(-std::log(std::min(probability, 1.0 - probability)));
    const double tail = r <= 5.0 ? polynomial(c, r - 1.6) / polynomial(d, r - 1.6)
                                 : polynomial(e, r - 5.0) / polynomial(f, r - 5.0);
    return q < 0.0 ? -tail : tail;
}

}  // namespace assay::capture
