#include "cli/measures/meter_power.h"

#include <fmt/format.h>

#include <cmath>

#include "cli/measures/fields.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli::meter_power {

namespace {

const capture::Meter* meter_of(const Setup& setup) {
    const auto name = setup.test->text("meter");
    for (const capture::Meter& meter : setup.bench->meters) {
        if (name ? meter.name == *name : setup.bench->meters.size() == 1) return &meter;
    }
    return nullptr;
}

capture::Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::bad_input_file, text, mend);
    };
    if (const auto name = setup.test->text("meter"); name && meter_of(setup) == nullptr) {
        return refuse(fmt::format("meter: the bench has no meter \"{}\"", *name),
                      "add a [[meter]] of that name to the bench file");
    }
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (!std::isfinite(load.resistance_ohm))
            return refuse(
                fmt::format("loads: load \"{}\" has no resistance, so there is no power", load.name),
                "name a load with a resistance");
    }
    return {};
}

TestResult evaluate(const Setup& setup, std::span<const Take>) {
    TestResult result;
    result.measure = "meter-power";
    const double volts = *setup.test->number("output_v");
    const double frequency = field_number(*setup.test, "frequency_hz");
    const capture::Meter* meter = meter_of(setup);
    result.conditions.emplace_back("frequency_hz", frequency);
    result.conditions.emplace_back("channels_driven", static_cast<double>(setup.test->loads.size()));
    result.conditions.emplace_back("source", std::string("meter reading, no capture"));
    result.conditions.emplace_back("limit_told_by", setup.test->text("at").value_or("not stated"));
    add_readings(*setup.test, result);
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        result.conditions.emplace_back("load_ohm." + load.name, load.resistance_ohm);
        Numbers numbers;
        analysis::Quantity voltage{volts, "V", {}};
        if (meter != nullptr) {
            const double accuracy = meter->accuracy_percent / 100.0 / std::sqrt(3.0);
            const double digits = meter->digits * meter->resolution_v / std::sqrt(3.0);
            add_doubt(voltage, "meter:" + meter->name, volts * accuracy);
            add_doubt(voltage, "test:" + setup.test->id + ":" + load.name + ":meter-digits", digits);
            if (meter->ac_max_hz && frequency > *meter->ac_max_hz) {
                numbers.warn("meter-frequency",
                             fmt::format("the meter is good up to {:.6g} Hz, the tone was {:.6g} Hz: it "
                                         "reads low by an unknown amount",
                                         *meter->ac_max_hz, frequency),
                             "read at 50 to 100 Hz, or measure with the recorder");
            }
            if (!meter->true_rms) {
                numbers.warn("meter-averaging", "the meter averages: on a clipped wave it misreads",
                             "use a true-RMS meter, or read below clipping");
            }
        } else {
            numbers.warn("meter-unknown",
                         "the meter's accuracy is not stated: the uncertainty holds only the load's",
                         "add a [[meter]] with its leaflet's figures to the bench file");
        }
        numbers.warn("meter-reading",
                     "a meter reading by hand, without capture: nothing can be computed again from it",
                     "measure clipping-power for a number that can be verified");
        numbers.add("power_w", power_at(load, voltage, frequency));
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.in_watts = true;
    measure.name = "meter-power";
    measure.summary = "power from volts read off a meter, marked as such";
    measure.plays = false;
    measure.fields = {
        {.name = "output_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 1e-3,
         .maximum = 1000.0,
         .required = true,
         .help = "volts RMS across the load, by meter"},
        {.name = "at", .type = FieldType::text, .help = "what told the limit: clip lamp, distortion meter"},
        {.name = "meter", .type = FieldType::text, .help = "which [[meter]]; left out: the bench's only one"},
    };
    measure.quantities = {{"power_w", "W", true, "volts squared over the load's resistance"}};
    measure.check = check;
    measure.next = [](const Setup&, std::span<const Take>) { return std::optional<capture::Tone>{}; };
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::meter_power
