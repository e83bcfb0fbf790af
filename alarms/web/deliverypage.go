package web

import (
	"fmt"
	"net/http"

	"lightwell/alarms/notify"
	"lightwell/alarms/web/access"
)

// deliveriesShown is how many dead messages of a receiver the page lists.
const deliveriesShown = 50

// receiver is a receiver of webhooks with the messages given up.
type receiver struct {
	notify.Stats
	Given []Delivery
	More  int
}

func (s *Server) registerDeliveryPage(mux *http.ServeMux, see func(string, http.HandlerFunc)) {
	if s.cfg.Webhooks == nil {
		return
	}
	see("/deliveries", s.shows("deliveries", "deliveries", s.deliveriesPage))
	mux.HandleFunc("POST /deliveries", s.need(access.Operate, s.deliveryForm))
}

func (s *Server) deliveriesPage(_ *http.Request, f *frame) error {
	var all []receiver
	for _, st := range s.cfg.Webhooks.Stats() {
		given, err := s.deliveries(st.Endpoint, string(notify.Dead))
		if err != nil {
			return err
		}
		n := min(len(given), deliveriesShown)
		all = append(all, receiver{st, given[:n], len(given) - n})
	}
	f.Page, f.Title = all, "Deliveries"
	return nil
}

// deliveryForm sends what was given up again.
func (s *Server) deliveryForm(w http.ResponseWriter, r *http.Request) {
	endpoint := r.PostFormValue("endpoint")
	n, err := s.cfg.Webhooks.Resend(endpoint)
	if err != nil {
		s.faulty(w, r, err)
		return
	}
	s.hub.changed()
	s.record(access.Who(r.Context()), "deliveries-resent", fmt.Sprintf("%d to %s", n, endpoint), "")
	http.Redirect(w, r, "/deliveries", http.StatusSeeOther)
}
