// Who and what was tested, and when: the head of the page.
#include <algorithm>

#include "cli/certificate/page/parts.h"
#include "cli/certificate/page/text_room.h"
#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

std::string kind_words(UnitKind kind) {
    switch (kind) {
        case UnitKind::amplifier:
            return "Amplifier";
        case UnitKind::driver:
            return "Loudspeaker driver";
        case UnitKind::line:
            return "Line-level unit";
    }
    return {};
}

/// "2026-03-14T15:09:26+01:00" as a person writes it; what is not of this form stays as it is.
std::string date_text(const std::string& created) {
    if (created.size() >= 19 && created[10] == 'T') {
        return visible_text(created.substr(0, 10) + ", " + created.substr(11, 5) +
                                (created.size() > 19 ? " (UTC" + created.substr(19) + ")" : ""),
                            40);
    }
    return visible_text(created, 40);
}

/// Rows of the table of facts, each with its words in full where the page has to cut them.
class Facts {
  public:
    std::string row(const std::string& label, const std::string& text, std::size_t most) {
        const std::string shown = cut(label, text, most);
        mm_ += 4.1 * text_lines(shown, 60.0, 8.4);
        return shown;
    }
    std::string cut(const std::string& label, const std::string& text, std::size_t most) {
        const std::string shown = short_text(text, most);
        const std::string full = visible_text(text, 600);
        if (shown != full) {
            PageData entry = text_section(full);
            entry.set("label", label);
            cut_ << entry;
        }
        return shown;
    }
    double mm() const { return mm_; }
    PageData in_full() const { return cut_.is_empty_list() ? PageData{false} : PageData{"rows", cut_}; }

  private:
    double mm_ = 0.0;
    PageData cut_{PageData::type::list};
};

}  // namespace

double add_identity(const Session& session, PageData& page) {
    const Unit& unit = session.unit;
    Facts facts;
    std::string name = facts.cut("Maker", unit.maker, 40);
    if (!unit.maker.empty() && !unit.model.empty()) name += ' ';
    name += facts.cut("Model", unit.model, 40);
    if (name.empty()) name = "Maker and model not stated";
    page.set("simulated", PageData{session.simulated});
    page.set("number", visible_text(session.number, 60));
    // It goes into the style sheet, where no text may end its quotes.
    page.set("number_for_style", plain_name(session.number, 60, ".:"));
    page.set("created", session.created.empty() ? "date not stated" : date_text(session.created));
    page.set("program_version", session.program_version.empty() ? "version not stated"
                                                                : visible_text(session.program_version, 30));
    page.set("unit_name", name);
    page.set("unit_kind", kind_words(unit.kind));
    const auto stated = [](const std::string& text) { return text.empty() ? "not stated" : text; };
    page.set("serial", facts.row("Serial", stated(unit.serial), 60));
    page.set("condition", facts.row("Condition", stated(unit.condition), 160));
    if (!unit.repairs.empty()) page.set("repairs", text_section(facts.row("Repairs", unit.repairs, 120)));
    if (!unit.sellers_note.empty())
        page.set("sellers_note", text_section(facts.row("Seller’s note", unit.sellers_note, 120)));
    if (unit.minimum_load_ohm) {
        std::string text = stated_text(*unit.minimum_load_ohm, "ohm");
        if (unit.minimum_bridged_load_ohm) {
            text += " (bridged " + stated_text(*unit.minimum_bridged_load_ohm, "ohm") + ")";
        }
        page.set("minimum_load", text_section(facts.row("Smallest load", text, 60)));
    }
    page.set("unit_in_full", facts.in_full());
    const double name_mm = 7.4 * text_lines(name, 84.0, 17.0) + 5.0;
    return std::max(name_mm, facts.mm()) + 8.0;
}

}  // namespace assay::cli
