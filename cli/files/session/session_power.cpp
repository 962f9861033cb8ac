// The table of power and the rating's basis, as they stand in session.json. Both are made from the results
// each time: what a file says of them is compared by `verify` and never read.
#include "cli/files/session/session_describe.h"
#include "cli/measures/judgement/rating.h"
#include "cli/report/power_table.h"
#include "cli/report/rating_report.h"

namespace assay::cli {
namespace {

void write_optional(JsonWriter& archive, const std::string& key,
                    const std::optional<analysis::Quantity>& quantity) {
    if (quantity) archive.object(key, [&](JsonWriter& writer) { write_quantity(writer, *quantity); });
}

void write_figures(JsonWriter& archive, const Numbers& figures) {
    write_quantities(archive, figures);
    write_absent(archive, figures);
    write_warnings(archive, figures.warnings);
}

const EnumWords<Arrangement>& arrangement_words() {
    static const EnumWords<Arrangement> words{{Arrangement::one_channel, "one-channel"},
                                              {Arrangement::channels_together, "channels-together"},
                                              {Arrangement::bridged, "bridged"},
                                              {Arrangement::bridged_and_stereo, "bridged-and-stereo"}};
    return words;
}

const EnumWords<LineKind>& line_words() {
    static const EnumWords<LineKind> words{{LineKind::channels, "one-channel-to-all"},
                                           {LineKind::bridged, "stereo-to-bridged"},
                                           {LineKind::ohms, "ohms"},
                                           {LineKind::supply, "supply-volts"},
                                           {LineKind::projection, "estimate-at-other-supply"}};
    return words;
}

void write_row(JsonWriter& archive, const PowerRow& row) {
    archive.field("test", row.test);
    archive.field("by_meter", row.by_meter);
    archive.choice("arrangement", row.arrangement, arrangement_words());
    archive.list("loads", row.loads, [](JsonWriter& writer, const PowerLoad& load) {
        writer.field("name", load.name);
        writer.number_or_inf("resistance_ohm", load.resistance_ohm);
        writer.field("bridged", load.bridged);
    });
    if (row.lowest_channel_ohm > 0.0) archive.field("lowest_channel_ohm", row.lowest_channel_ohm);
    archive.field("frequency_hz", row.frequency_hz);
    if (row.by_meter) {
        archive.field("limit_told_by", row.limit_told_by);
    } else {
        archive.field("limit_on", row.limit_on);
    }
    archive.field("supply_idle_v", row.supply.idle_v);
    archive.field("supply_loaded_v", row.supply.loaded_v);
    archive.field("supply_idle_current_a", row.supply.idle_a);
    archive.field("supply_current_a", row.supply.loaded_a);
    archive.list("powers", row.powers, [&row](JsonWriter& writer, const PowerAtLimit& power) {
        if (!power.limit.empty()) writer.field("limit_percent", limit_percent(power.limit));
        writer.object("loads", [&](JsonWriter& loads) {
            for (std::size_t i = 0; i < power.loads.size(); ++i)
                write_optional(loads, row.loads[i].name, power.loads[i]);
        });
        write_optional(writer, "total", power.total);
    });
    write_figures(archive, row.figures);
}

void write_line(JsonWriter& archive, const PowerLine& line) {
    archive.choice("kind", line.kind, line_words());
    if (!line.limit.empty()) archive.field("limit_percent", limit_percent(line.limit));
    archive.field("tests", line.tests);
    archive.optional_text("load", line.load);
    const bool volts = line.kind == LineKind::supply || line.kind == LineKind::projection;
    if (!line.from.empty()) archive.field(volts ? "supply_v" : "load_ohm", line.from);
    if (line.stiff_ratio > 0.0) archive.field("stiff_supply_ratio", line.stiff_ratio);
    write_figures(archive, line.figures);
}

template <class Archive, class Statement>
void describe_statement(Archive& archive, Statement& rating) {
    archive.field("basis", rating.basis);
    archive.field("rated_power_w", rating.rated_power_w);
    archive.field("channels", rating.channels);
    archive.field("preconditioning_minutes", rating.preconditioning_minutes);
    archive.field("preconditioning_w", rating.preconditioning_w);
    archive.field("held_minutes", rating.held_minutes);
}

}  // namespace

void write_power_table(JsonWriter& archive, const Session& session) {
    const PowerTable table = power_table(session);
    if (table.rows.empty()) return;
    archive.object("power_table", [&](JsonWriter& writer) {
        writer.list("rows", table.rows, write_row);
        writer.list("lines", table.lines, write_line);
    });
}

void write_rating(JsonWriter& archive, const Session& session) {
    if (!session.rating) return;
    archive.object("rating", [&](JsonWriter& writer) {
        describe_statement(writer, *session.rating);
        writer.field("words", rating_words(session));
        writer.list("requirements", rating_requirements(session),
                    [](JsonWriter& entry, const Requirement& wanted) {
                        entry.field("code", wanted.code);
                        entry.field("text", wanted.text);
                        entry.field("state", done_words(wanted.done));
                        entry.field("figure", wanted.figure);
                        entry.field("source", wanted.source);
                    });
    });
}

void read_rating(JsonReader& archive, Session& session) {
    const std::string key = "rating";
    const Json* node = archive.find_optional(key);
    if (node == nullptr) return;
    const Place place{&archive.place(), &key, 0};
    JsonReader reader(*node, place, archive.trouble());
    describe_statement(reader, session.rating.emplace());
    if (!archive.trouble().first && find_rating_basis(session.rating->basis) == nullptr)
        archive.trouble().note(place, "names a basis that is not known here");
}

}  // namespace assay::cli
