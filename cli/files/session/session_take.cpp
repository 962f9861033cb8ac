// A take as it stands in session.json: the tone as played, one list for each property of its segments, and
// the capture that was made of it.
#include <algorithm>
#include <array>
#include <optional>

#include "cli/files/bench/bench_limits.h"
#include "cli/files/session/session_describe.h"

namespace assay::cli {
namespace {

using capture::Chirp;
using capture::LogSweep;
using capture::Multitone;
using capture::Segment;
using capture::SegmentRole;
using capture::ShapedNoise;
using capture::SinePair;
using capture::SteadySine;
using capture::ToneBurst;

/// Columns of the segments. A sine has the same frequency at both ends, a chirp no phase of its own. The
/// optional ones are there if any segment is of the law that they belong to.
struct SegmentColumns {
    std::vector<std::string> role{};
    std::vector<std::string> law{};
    std::vector<std::int64_t> first_frame{};
    std::vector<std::int64_t> frames{};
    std::vector<std::int64_t> fade_frames{};
    std::vector<double> level_dbfs{};
    std::vector<double> from_hz{};
    std::vector<double> to_hz{};
    std::vector<double> phase_rad{};
    std::optional<std::vector<double>> period_s{};
    std::optional<std::vector<double>> lines_per_octave{};
    std::optional<std::vector<double>> growth_s{};   // of a sweep
    std::optional<std::vector<double>> low_share{};  // of a pair
    std::optional<std::vector<double>> on_s{};       // of a burst
    std::optional<std::vector<double>> off_s{};
    std::optional<std::vector<double>> off_db{};
    std::optional<std::vector<double>> crest_factor_db{};  // of noise
};

using OptionalColumn = std::optional<std::vector<double>> SegmentColumns::*;
constexpr std::array<OptionalColumn, 8> optional_columns{
    &SegmentColumns::period_s, &SegmentColumns::lines_per_octave,
    &SegmentColumns::growth_s, &SegmentColumns::low_share,
    &SegmentColumns::on_s,     &SegmentColumns::off_s,
    &SegmentColumns::off_db,   &SegmentColumns::crest_factor_db};

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, SegmentColumns>
void describe(Archive& archive, Object& columns) {
    archive.field("role", columns.role);
    archive.field("law", columns.law);
    archive.field("first_frame", columns.first_frame);
    archive.field("frames", columns.frames);
    archive.field("level_dbfs", columns.level_dbfs);
    archive.field("fade_frames", columns.fade_frames);
    archive.field("from_hz", columns.from_hz);
    archive.field("to_hz", columns.to_hz);
    archive.field("phase_rad", columns.phase_rad);
    archive.field("period_s", columns.period_s);
    archive.field("lines_per_octave", columns.lines_per_octave);
    archive.field("growth_s", columns.growth_s);
    archive.field("low_share", columns.low_share);
    archive.field("on_s", columns.on_s);
    archive.field("off_s", columns.off_s);
    archive.field("off_db", columns.off_db);
    archive.field("crest_factor_db", columns.crest_factor_db);
}

const EnumWords<SegmentRole>& role_words() {
    static const EnumWords<SegmentRole> words{
        {SegmentRole::head, "head"}, {SegmentRole::mark, "mark"}, {SegmentRole::step, "step"}};
    return words;
}

SegmentColumns columns_of(const std::vector<Segment>& segments) {
    SegmentColumns columns;
    const auto put = [&](OptionalColumn column, std::size_t index, double value) {
        auto& list = columns.*column;
        if (!list) list.emplace(segments.size(), 0.0);
        (*list)[index] = value;
    };
    for (std::size_t index = 0; index < segments.size(); ++index) {
        const Segment& segment = segments[index];
        for (const auto& [role, word] : role_words()) {
            if (role == segment.role) columns.role.push_back(word);
        }
        columns.first_frame.push_back(segment.first_frame);
        columns.frames.push_back(segment.frames);
        columns.level_dbfs.push_back(segment.level_dbfs);
        columns.fade_frames.push_back(segment.fade_frames);
        const auto add = [&](const char* law, double from_hz, double to_hz, double phase_rad) {
            columns.law.emplace_back(law);
            columns.from_hz.push_back(from_hz);
            columns.to_hz.push_back(to_hz);
            columns.phase_rad.push_back(phase_rad);
        };
        if (const auto* sine = std::get_if<SteadySine>(&segment.law)) {
            add("sine", sine->frequency_hz, sine->frequency_hz, sine->phase_rad);
        } else if (const auto* multitone = std::get_if<Multitone>(&segment.law)) {
            add("multitone", multitone->start_hz, multitone->stop_hz, 0.0);
            put(&SegmentColumns::period_s, index, multitone->period_s);
            put(&SegmentColumns::lines_per_octave, index, multitone->lines_per_octave);
        } else if (const auto* sweep = std::get_if<LogSweep>(&segment.law)) {
            add("sweep", sweep->start_hz, sweep->start_hz, 0.0);
            put(&SegmentColumns::growth_s, index, sweep->growth_s);
        } else if (const auto* pair = std::get_if<SinePair>(&segment.law)) {
            add("pair", pair->low_hz, pair->high_hz, 0.0);
            put(&SegmentColumns::low_share, index, pair->low_share);
        } else if (const auto* burst = std::get_if<ToneBurst>(&segment.law)) {
            add("burst", burst->frequency_hz, burst->frequency_hz, 0.0);
            put(&SegmentColumns::on_s, index, burst->on_s);
            put(&SegmentColumns::off_s, index, burst->off_s);
            put(&SegmentColumns::off_db, index, burst->off_db);
        } else if (const auto* noise = std::get_if<ShapedNoise>(&segment.law)) {
            add("noise", 0.0, 0.0, 0.0);
            put(&SegmentColumns::period_s, index, noise->period_s);
            put(&SegmentColumns::crest_factor_db, index, noise->crest_factor_db);
        } else {
            const auto& chirp = std::get<Chirp>(segment.law);
            add("chirp", chirp.from_hz, chirp.to_hz, 0.0);
        }
    }
    return columns;
}

/// A multitone is worked out when it is first asked for: numbers that would take all the memory are no tone.
bool sensible(const Multitone& multitone) {
    return multitone.period_s > 0.0 && multitone.start_hz > 0.0 && multitone.stop_hz > multitone.start_hz &&
           multitone.stop_hz * multitone.period_s <= 2e6 && multitone.lines_per_octave >= 1.0 &&
           multitone.lines_per_octave <= 1e4 && !capture::lines_of(multitone).empty();
}

// A tone's peak may pass full scale by a little where its level is that of an RMS sine.
constexpr double highest_level_dbfs = 20.0;

/// What is wrong with the segments, empty if nothing is.
std::string segments_of(const SegmentColumns& columns, std::int64_t tone_frames,
                        std::vector<Segment>& segments) {
    const std::size_t count = columns.role.size();
    for (const std::size_t size : {columns.law.size(), columns.first_frame.size(), columns.frames.size(),
                                   columns.level_dbfs.size(), columns.fade_frames.size(),
                                   columns.from_hz.size(), columns.to_hz.size(), columns.phase_rad.size()}) {
        if (size != count) return "its lists are not equally long";
    }
    for (const OptionalColumn column : optional_columns) {
        if (columns.*column && (columns.*column)->size() != count) return "its lists are not equally long";
    }
    for (std::size_t i = 0; i < count; ++i) {
        Segment segment;
        segment.first_frame = columns.first_frame[i];
        segment.frames = columns.frames[i];
        segment.level_dbfs = columns.level_dbfs[i];
        segment.fade_frames = columns.fade_frames[i];
        const auto sounds_at = [&](double frequency_hz) {
            return frequency_hz >= 0.0 && frequency_hz <= highest_rate_hz / 2;
        };
        if (!sounds_at(columns.from_hz[i]) || !sounds_at(columns.to_hz[i]))
            return "a frequency is out of all measure";
        if (!(segment.level_dbfs >= 2.0 * lowest_dbfs && segment.level_dbfs <= highest_level_dbfs))
            return "a level is out of all measure";
        const bool inside = segment.first_frame >= 0 && segment.frames >= 0 &&
                            segment.frames <= tone_frames &&
                            segment.first_frame <= tone_frames - segment.frames;
        if (!inside) return "a segment does not lie inside the tone";
        if (segment.fade_frames < 0 || segment.fade_frames > segment.frames) return "a fade is too long";
        const auto role = std::find_if(role_words().begin(), role_words().end(),
                                       [&](const auto& entry) { return entry.second == columns.role[i]; });
        if (role == role_words().end()) return "a role is none of head, mark, step";
        segment.role = role->first;
        if (columns.law[i] == "sine") {
            segment.law = SteadySine{columns.from_hz[i], columns.phase_rad[i]};
        } else if (columns.law[i] == "chirp") {
            segment.law = Chirp{columns.from_hz[i], columns.to_hz[i]};
        } else if (columns.law[i] == "multitone" && columns.period_s && columns.lines_per_octave) {
            const Multitone multitone{(*columns.period_s)[i], columns.from_hz[i], columns.to_hz[i],
                                      (*columns.lines_per_octave)[i]};
            if (!sensible(multitone)) return "a multitone has no lines, or too many";
            segment.law = multitone;
        } else if (columns.law[i] == "sweep" && columns.growth_s) {
            segment.law = LogSweep{columns.from_hz[i], (*columns.growth_s)[i]};
            if (columns.from_hz[i] <= 0.0 || (*columns.growth_s)[i] <= 0.0) return "a sweep does not rise";
        } else if (columns.law[i] == "pair" && columns.low_share) {
            segment.law = SinePair{columns.from_hz[i], columns.to_hz[i], (*columns.low_share)[i]};
        } else if (columns.law[i] == "burst" && columns.on_s && columns.off_s && columns.off_db) {
            segment.law =
                ToneBurst{columns.from_hz[i], (*columns.on_s)[i], (*columns.off_s)[i], (*columns.off_db)[i]};
            if ((*columns.on_s)[i] <= 0.0 || (*columns.off_s)[i] <= 0.0) return "a burst has no length";
        } else if (columns.law[i] == "noise" && columns.period_s && columns.crest_factor_db) {
            const ShapedNoise noise{(*columns.period_s)[i], (*columns.crest_factor_db)[i]};
            // Worked out when it is first asked for: what would take all the memory is no tone.
            if (!(noise.period_s >= 1.0 && noise.period_s <= 60.0) ||
                !(noise.crest_factor_db >= 4.0 && noise.crest_factor_db <= 20.0))
                return "a noise has no sensible period or crest factor";
            segment.law = noise;
        } else {
            return "a law is none of sine, chirp, multitone, sweep, pair, burst, noise";
        }
        segments.push_back(segment);
    }
    return {};
}

/// All but its path, which is not in the file as it is in memory.
template <class Archive, class Object>
void describe_recording(Archive& archive, Object& recording) {
    archive.field("rate_hz", recording.rate_hz);
    archive.field("channels", recording.channels);
    archive.field("frames", recording.frames);
    archive.field("format", recording.format);
    archive.field("bits", recording.bits);
    archive.field("float", recording.floating);
    archive.field("flags", recording.flags);
}

}  // namespace

void write_take(JsonWriter& archive, const Take& take) {
    archive.object("tone", [&](JsonWriter& tone) {
        tone.field("rate_hz", take.tone.rate_hz);
        tone.field("frames", take.tone.frames);
        tone.field("segments", columns_of(take.tone.segments));
    });
    archive.object("capture", [&](JsonWriter& record) {
        const std::string file = take.recording.path.filename().string();
        record.field("path", file.empty() ? std::string{} : "captures/" + file);
        describe_recording(record, take.recording);
    });
}

void read_take(JsonReader& archive, const std::filesystem::path& folder, Take& take) {
    Trouble& trouble = archive.trouble();
    const std::string tone_key = "tone";
    if (const Json* node = archive.find(tone_key)) {
        const Place place{&archive.place(), &tone_key, 0};
        JsonReader tone(*node, place, trouble);
        SegmentColumns columns;
        tone.field("rate_hz", take.tone.rate_hz);
        tone.field("frames", take.tone.frames);
        tone.field("segments", columns);
        if (!trouble.first) {
            if (take.tone.frames < 0) trouble.note(place, "has no length");
            if (!(take.tone.rate_hz >= lowest_rate_hz && take.tone.rate_hz <= highest_rate_hz))
                trouble.note(place, "its rate is out of all measure");
            const std::string wrong = segments_of(columns, take.tone.frames, take.tone.segments);
            if (!wrong.empty()) trouble.note(place, wrong);
        }
    }
    const std::string capture_key = "capture";
    if (const Json* node = archive.find(capture_key)) {
        const Place place{&archive.place(), &capture_key, 0};
        JsonReader record(*node, place, trouble);
        std::string path;
        record.field("path", path);
        describe_recording(record, take.recording);
        const std::string inside = "captures/";
        const std::string file = path.starts_with(inside) ? path.substr(inside.size()) : std::string{};
        const bool plain = !file.empty() && file != "." && file != ".." &&
                           file.find('\0') == std::string::npos && file.find('/') == std::string::npos &&
                           file.find('\\') == std::string::npos;
        if (plain) {
            take.recording.path = folder / "captures" / file;
        } else if (!path.empty()) {
            trouble.note(place, "its path does not lie in captures/");
        }
        if (take.recording.channels < 0 || take.recording.frames < 0 || take.recording.rate_hz < 0.0) {
            trouble.note(place, "has less than nothing in it");
        }
    }
}

}  // namespace assay::cli
