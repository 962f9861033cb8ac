#include "cli/files/curves/response_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/files/curves/record_checks.h"
#include "cli/files/session/json_archive.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

namespace {

constexpr const char* response_schema = "assay-response-1";
// A card that departs further from its 1 kHz than this is no card, or another plug.
constexpr double furthest_db = 60.0;

struct ResponseRecord {
    std::string schema{};
    CardResponse card{};
};

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, ResponseRecord>
void describe(Archive& archive, Object& record) {
    archive.field("schema", record.schema);
    archive.field("input", record.card.input);
    archive.field("rate_hz", record.card.rate_hz);
    archive.optional_text("date", record.card.date);
    archive.optional_text("playback_device", record.card.playback_device);
    archive.optional_text("record_device", record.card.record_device);
    archive.field("gain_db", record.card.gain_db);
    archive.field("high_pass_undone_hz", record.card.high_pass_undone_hz);
    archive.field("frequency_hz", record.card.frequency_hz);
    archive.field("magnitude_db", record.card.magnitude_db);
    archive.field("phase_deg", record.card.phase_deg);
    archive.field("standard_uncertainty_db", record.card.standard_uncertainty_db);
}

/// What is wrong with the numbers, empty if nothing is.
std::string fault_of(const ResponseRecord& record) {
    const CardResponse& card = record.card;
    const std::size_t count = card.frequency_hz.size();
    if (auto wrong = wrong_schema(record.schema, response_schema); !wrong.empty()) return wrong;
    if (!(card.rate_hz > 0.0)) return "rate_hz is not above 0";
    if (card.high_pass_undone_hz && !(*card.high_pass_undone_hz > 0.0))
        return "high_pass_undone_hz is not above 0";
    if (count < 2) return "frequency_hz has fewer than two points";
    if (card.magnitude_db.size() != count || card.phase_deg.size() != count)
        return "frequency_hz, magnitude_db and phase_deg are not equally long";
    if (card.standard_uncertainty_db) {
        const auto& doubts = *card.standard_uncertainty_db;
        if (doubts.size() != count) return "standard_uncertainty_db is not as long as frequency_hz";
        if (std::any_of(doubts.begin(), doubts.end(), [](double db) { return !(db >= 0.0); }))
            return "standard_uncertainty_db must not be below 0";
    }
    if (!frequencies_rise(card.frequency_hz)) return frequencies_do_not_rise;
    if (card.frequency_hz.back() > 0.5 * card.rate_hz) return "frequency_hz goes beyond half of rate_hz";
    if (card.frequency_hz.front() > reference_hz || card.frequency_hz.back() < reference_hz)
        return "frequency_hz does not hold 1000";
    double at_1khz_db = 0.0;
    for (std::size_t i = 0; i < count && card.frequency_hz[i] <= reference_hz; ++i)
        at_1khz_db = card.magnitude_db[i];
    for (const double db : card.magnitude_db) {
        if (!(std::abs(db - at_1khz_db) <= furthest_db))
            return fmt::format("magnitude_db departs by more than {:.0f} dB from that at 1 kHz", furthest_db);
    }
    return {};
}

}  // namespace

std::string card_response_text(const CardResponse& card) {
    const ResponseRecord record{response_schema, card};
    return record_text(record);
}

capture::Result<CardResponse> parse_card_response(const std::string& text, const std::string& name) {
    const auto refuse = [&](const std::string& what) {
        return capture::fail(capture::FaultKind::bad_input_file, name + ": " + what,
                             "make it again with `assay calibrate loopback`");
    };
    ResponseRecord record;
    if (const auto wrong = read_record(text, record)) return refuse(*wrong);
    if (const std::string fault = fault_of(record); !fault.empty()) return refuse(fault);
    return std::move(record.card);
}

capture::Result<CardResponse> read_card_response(const std::filesystem::path& path) {
    const auto text = read_toml_text(path);
    if (!text) return tl::unexpected<capture::Fault>(text.error());
    return parse_card_response(*text, path.filename().string());
}

}  // namespace assay::cli
